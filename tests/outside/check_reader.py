"""The page that reads captures (`reader.html` of a lesson), in a headless Chromium without a network: every capture that is dropped gives what
`decode --json` prints, broken files give the program's one line and the page lives on; by keyboard alone; no request; time and size.

What is compared how: see compare.py.
"""

import hashlib
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import time

import shapes_more  # noqa: F401  registers its shapes
from browser import Browser
from check_pages import AXE, ROOT, legible, unbroken
from compare import same
from record import record
from report import Checks
from shapes import SHAPES, make

PROGRAM = os.environ.get("FIELDRIPPLE", str(ROOT / "target/release/fieldripple"))
MOST_BYTES = 4_000_000
MOST_TIMES = 10
# Starting the program and opening a file is measured with it; a millisecond or two of a page must not be divided by less.
LEAST_NATIVE_S = 0.01
FIELDS = {"--rate": "rate", "--centre": "centre", "--channel": "channel", "--raw": "raw"}
EVERY_SHAPE = 7


def native(folder, name, arguments=()):
    """The object that the program prints, or its one line."""
    done = subprocess.run([PROGRAM, "decode", name, "--json", *arguments], cwd=folder, capture_output=True, text=True)
    if done.stdout:
        return json.loads(done.stdout), None
    return None, done.stderr.strip().removeprefix("fieldripple: ")


class Page:
    """The page, and what was given to it so far."""

    def __init__(self, browser, path):
        self.browser = browser
        self.given = 0
        browser.open(path.as_uri())
        self.wait("document.getElementById('said').textContent.startsWith('Ready')", "the receiver does not start")

    def wait(self, condition, complaint, seconds=120):
        deadline = time.monotonic() + seconds
        while not self.browser.run(condition):
            if time.monotonic() > deadline:
                raise RuntimeError(f"{complaint}: {self.browser.run('document.getElementById(`said`).textContent')}")
            time.sleep(0.01)

    def fill(self, arguments):
        """Types options into their fields; every other field is emptied."""
        values = dict.fromkeys(FIELDS.values(), "") | {FIELDS[name]: value for name, value in zip(arguments[::2], arguments[1::2])}
        for name, value in values.items():
            self.browser.run(f"document.getElementById('{name}').value = {json.dumps(value)}")

    def choose(self, *files):
        document = self.browser.call("DOM.getDocument")["root"]["nodeId"]
        node = self.browser.call("DOM.querySelector", nodeId=document, selector="#files")["nodeId"]
        self.browser.call("DOM.setFileInputFiles", nodeId=node, files=[str(file) for file in files])

    def drop(self, *files):
        x, y = self.browser.run("(() => { scrollTo(0, 0); const box = document.getElementById('place').getBoundingClientRect(); return [box.x + 20, box.y + 10]; })()")
        data = {"items": [], "files": [str(file) for file in files], "dragOperationsMask": 1}
        for kind in ["dragEnter", "dragOver", "drop"]:
            self.browser.call("Input.dispatchDragEvent", type=kind, x=x, y=y, data=data)

    def results(self, count):
        """The next so many answers: the object or the one line, and the seconds that it took."""
        self.given += count
        self.wait(f"document.querySelectorAll('.result').length === {self.given} && document.getElementById('busy').hidden", "no answer")
        return [self.result(at) for at in range(self.given - count, self.given)]

    def result(self, at):
        found = self.browser.run(
            f"(r => ({{json: r.querySelector('.json')?.textContent, took: r.dataset.tookMs, name: r.querySelector('h2').textContent, figures: r.querySelectorAll('svg').length,"
            f"number: r.querySelector('.number')?.textContent, text: r.textContent, findings: [...r.querySelectorAll('small')].map(s => s.textContent.split(/[:;]/)[0]),"
            f"error: r.querySelector('.json') ? null : r.querySelector('.unread p:last-child, section > p')?.textContent }}))(document.querySelectorAll('.result')[{at}])")
        found["took"] = float(found["took"] or "nan") / 1e3
        return found

    def forget(self):
        self.browser.run("document.getElementById('forget').click()")
        self.given = 0


def compare(checks, found, folder, name, arguments=()):
    """One answer of the page with the program's."""
    there, line = native(folder, name, arguments)
    if there is None:
        return checks.that(found["error"] == line, f"{name}: the page says {found['error']!r}, the program {line!r}")
    if not checks.that(found["json"], f"{name}: the page says {found['error']!r}, the program reads it"):
        return False
    apart = same(json.loads(found["json"]), there)
    good = checks.that(not apart, f"{name}: page and program differ in {apart[:4]}")
    own = [finding["code"] for finding in there["findings"] if finding["code"] not in ("capture-note", "not-the-expected-number")]
    shown = there["readings"][0]["id"] if there["readings"] else None
    checks.that(found["findings"] == own, f"{name}: findings shown {found['findings']}, there are {own}")
    checks.that(re.sub(r"\D", "", found["number"]) == shown if shown else found["number"] == "Nothing read", f"{name}: shown {found['number']}")
    checks.that(found["figures"] >= 5 and "Settings" in found["text"], f"{name}: {found['figures']} figures")
    return good


def waveforms(checks, page):
    """Every capture of the project, dropped at once."""
    folder = ROOT / "waveforms"
    files = sorted(file for ending in ("wav", "csv", "npy") for file in folder.glob(f"*.{ending}"))
    page.fill([])
    page.drop(*files)
    equal = sum(compare(checks, found, folder, file.name) for found, file in zip(page.results(len(files)), files))
    page.forget()
    return files, equal


def others(checks, page, place):
    """Text, arrays, bare samples, packed ones, as instruments write them, with the options that they need."""
    equal = count = 0
    for at, name in enumerate(sorted(SHAPES)[::EVERY_SHAPE]):
        folder = place / f"shape-{at}"
        folder.mkdir()
        made = make(name, folder, 1)
        file = pathlib.Path(made.path)
        arguments = [f"{made.rate_hz:.0f}" if word == "RATE" else word for word in made.arguments]
        if len(list(folder.iterdir())) != 1 or not set(arguments[::2]) <= set(FIELDS):
            continue
        page.fill(arguments)
        page.choose(file)
        count += 1
        equal += compare(checks, page.results(1)[0], folder, file.name, arguments)
    page.forget()
    page.fill([])
    return equal, count


def pairs(checks, page, place):
    """SigMF recordings: metadata and samples dropped together, in either order, all in one drop with another file between; and one half alone."""
    equal = count = 0
    for at, name in enumerate(sorted(name for name in SHAPES if name.startswith("SigMF: "))):
        folder = place / f"pair-{at}"
        folder.mkdir()
        make(name, folder, 1)
        files = sorted(folder.iterdir())
        if len(files) != 2:
            continue
        meta = next(file for file in files if file.suffix == ".sigmf-meta")
        other = ROOT / "waveforms/intake-clean.wav"
        page.drop(*(files if at % 2 else reversed(files)), other)
        answers = page.results(2)
        by_name = {answer["name"]: answer for answer in answers}
        checks.that(set(by_name) == {meta.name, other.name}, f"{name}: sections {sorted(by_name)}")
        compare(checks, by_name[other.name], other.parent, other.name)
        equal += compare(checks, by_name[meta.name], folder, meta.name)
        count += 1
        page.forget()
    page.choose(meta)
    alone = page.results(1)[0]
    checks.that(alone["error"].startswith(f"{meta.name}: SigMF metadata without its samples"), f"alone: {alone['error']}")
    page.forget()
    return equal, count


def hostile(checks, page):
    """Broken, lying and foreign files, in one queue; a good one behind them is read."""
    folder = ROOT / "tests/hostile"
    files = sorted(file for file in folder.iterdir() if file.is_file())
    good = ROOT / "waveforms/intake-clean.wav"
    page.choose(*files, good)
    answers = page.results(len(files) + 1)
    equal = sum(compare(checks, found, folder, file.name) for found, file in zip(answers, files))
    compare(checks, answers[-1], good.parent, good.name)
    page.forget()
    return equal, len(files)


def ratio(checks, page, files, place):
    """Page and program in turns, each with figures and all: the better of three."""
    ratios = []
    totals = [0.0, 0.0]
    for file in files:
        here, there = [], []
        for _ in range(3):
            page.choose(file)
            here.append(page.results(1)[0]["took"])
            began = time.perf_counter()
            subprocess.run([PROGRAM, "decode", str(file), "--json", "--report", str(place / "report.html")], stdout=subprocess.DEVNULL)
            there.append(time.perf_counter() - began)
        page.forget()
        ratios.append(min(here) / max(min(there), LEAST_NATIVE_S))
        totals[0] += min(here)
        totals[1] += min(there)
        checks.that(ratios[-1] <= MOST_TIMES, f"{file.name}: {min(here):.3f} s in the page, {min(there):.3f} s in the program")
    return max(ratios), totals[0] / totals[1]


def keyboard(checks, page, file):
    """Tabulator, Enter and letters: a rate is typed, a capture is chosen and read, and forgotten again."""
    browser = page.browser
    reached = []
    for _ in range(8):
        browser.press("Tab")
        reached.append(browser.run("document.activeElement.id || document.activeElement.tagName"))
    checks.that({"files", "SUMMARY"} <= set(reached), f"tabulator reaches {reached}")
    browser.run("document.querySelector('summary').focus()")
    browser.press("Enter")
    for name in FIELDS.values():
        browser.press("Tab")
        checks.that(browser.run("document.activeElement.id") == name, f"tabulator does not reach {name}")
        if name == "rate":
            browser.call("Input.insertText", text="1 MS/s")
    browser.call("Page.setInterceptFileChooserDialog", enabled=True)
    browser.run("document.getElementById('files').focus()")
    browser.opened = None
    browser.press(" ")
    deadline = time.monotonic() + 10
    while browser.opened is None and time.monotonic() < deadline:
        browser.run("0")
    if checks.that(browser.opened is not None, "the file button does not open by keyboard"):
        browser.call("DOM.setFileInputFiles", backendNodeId=browser.opened, files=[str(file)])
        found = page.results(1)[0]
        compare(checks, found, file.parent, file.name, ["--rate", "1 MS/s"])
        said = browser.run("document.getElementById('said').textContent")
        checks.that(found["number"] in said, f"the page says {said}")
        browser.run("document.getElementById('forget').focus()")
        browser.press("Enter")
        checks.that(browser.run("document.querySelectorAll('.result').length") == 0, "not forgotten")
        page.given = 0
    browser.call("Page.setInterceptFileChooserDialog", enabled=False)
    page.fill([])


def patience(checks, page, place):
    """While a long capture is read the page draws on; it can be stopped, and then reads the next."""
    long = place / "long.wav"
    subprocess.run([PROGRAM, "synth", str(long), "--seconds", "20", "--rate", "500k", "--ebn0", "-16"], check=True, stdout=subprocess.DEVNULL)
    browser = page.browser
    page.choose(long)
    browser.run("window.ticks = 0; window.ticking = setInterval(() => { if (!document.getElementById('busy').hidden) window.ticks += 1; }, 20); 0")
    page.wait("window.ticks > 10", "the page stands still")
    checks.that(browser.run("document.getElementById('results').getAttribute('aria-busy')") == "true", "busy, and does not say so")
    browser.run("clearInterval(window.ticking); document.getElementById('stop').click()")
    stopped = page.results(1)[0]
    checks.that(stopped["error"] == "long.wav: stopped", f"stopped: {stopped['error']}")
    good = ROOT / "waveforms/intake-clean.wav"
    page.choose(good)
    compare(checks, page.results(1)[0], good.parent, good.name)
    page.forget()


def looks(checks, page):
    """Wide and narrow, light and dark, with a number, none, and a file that is none below each other."""
    browser = page.browser
    page.choose(ROOT / "waveforms/intake-two-tags.wav", ROOT / "waveforms/cattery-no-tag.wav", ROOT / "tests/hostile/document.pdf")
    page.results(3)
    browser.size(1280)
    record(browser, checks, "reader.html", ROOT / "waveforms/intake-two-tags.wav")
    sums = browser.run("[...document.querySelectorAll('td.even')].map(cell => cell.textContent).filter(text => /^[0-9a-f]{64}$/.test(text))")
    files = [ROOT / "waveforms/intake-two-tags.wav", ROOT / "waveforms/cattery-no-tag.wav"]
    checks.that(sums == [hashlib.sha256(file.read_bytes()).hexdigest() for file in files], f"sums of the files: {sums}")
    for width in (320, 390, 1280):
        browser.size(width)
        legible(browser, checks, f"reader.html with results at {width} px", width, 12.0)
    if AXE.exists():
        for dark in (False, True):
            browser.scheme(dark)
            unbroken(browser, checks, f"reader.html with results, {'dark' if dark else 'light'}", AXE.read_text())
        browser.scheme(False)
    else:
        print(f"axe-core is not there ({AXE}): its rules are not checked")
    page.forget()


def closed(checks, page, folder):
    """The module imports nothing, the page asks for nothing, and could not."""
    browser = page.browser
    imports = browser.run("module.then(bytes => WebAssembly.compile(bytes)).then(code => WebAssembly.Module.imports(code).length)")
    checks.that(imports == 0, f"the module imports {imports} things")
    asked = [url for url in browser.requests if not url.startswith((folder.as_uri(), "data:", "about:", "blob:"))]
    checks.that(not asked, f"requests leave the page: {asked[:3]}")
    checks.that(not browser.complaints, f"complaints of the browser: {browser.complaints[:3]}")
    refused = browser.run(
        "new Promise(done => { addEventListener('securitypolicyviolation', event => done(event.effectiveDirective), {once: true}); fetch('http://127.0.0.1:9/').catch(() => 0); })")
    checks.that(refused == "connect-src", f"a connection is refused by {refused}")


class Watched(Browser):
    """Also gathers the file choosers that pages open."""

    opened = None

    def event(self, method, parameters):
        if method == "Page.fileChooserOpened":
            self.opened = parameters["backendNodeId"]
        super().event(method, parameters)


def main():
    if os.environ.get("NO_READER"):
        print("not checked: no compiler for wasm32 is to be had here, see make_reader.py")
        return 0
    checks = Checks()
    with tempfile.TemporaryDirectory() as place:
        place = pathlib.Path(place)
        folder = place / "lesson"
        subprocess.run([PROGRAM, "lesson", str(folder)], check=True, stdout=subprocess.DEVNULL)
        reader = folder / "reader.html"
        if not checks.that(reader.exists(), f"{PROGRAM} was built without the page: make_reader.py builds it with it"):
            return checks.end()
        checks.that('href="reader.html"' in (folder / "index.html").read_text(), "the contents do not name the page")
        size = reader.stat().st_size
        checks.that(size <= MOST_BYTES, f"the page has {size} bytes")
        browser = Watched()
        try:
            browser.call("Network.emulateNetworkConditions", offline=True, latency=0, downloadThroughput=0, uploadThroughput=0)
            browser.size(1280)
            page = Page(browser, reader)
            files, equal = waveforms(checks, page)
            keyboard(checks, page, files[0].parent / "intake-clean.wav")
            shaped, shapes = others(checks, page, place)
            paired, all_paired = pairs(checks, page, place)
            broken, all_broken = hostile(checks, page)
            patience(checks, page, place)
            worst, all_in_all = ratio(checks, page, files, place)
            looks(checks, page)
            closed(checks, page, folder)
        finally:
            browser.close()
        print(f"equal: {equal} of {len(files)} waveforms, {shaped} of {shapes} other layouts, {paired} of {all_paired} SigMF pairs, {broken} of {all_broken} broken files; "
              f"{size / 1e6:.2f} MB; {all_in_all:.1f} times the program's time, {worst:.1f} at most")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

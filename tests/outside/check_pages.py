"""Report and lesson in a headless Chromium: no error, no request leaves the folder, sliders, stepper, record and pages to play with by keyboard, nothing
wider than the page and letters large enough at 320, 390 and 1280 px, the printed version complete and without answers, contrasts of WCAG 2.1 level AA,
texts for all pictures, no violation of axe-core's rules in the light and in the dark version."""

import io
import json
import os
import pathlib
import re
import subprocess
import sys
import tempfile
import unicodedata

from pypdf import PdfReader

from browser import Browser
from play import play
from record import record
from report import Checks

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = os.environ.get("FIELDRIPPLE", str(ROOT / "target/release/fieldripple"))
# Letters of 9 px are the smallest that common practice calls legible on a screen (no source); running text is larger.
LEAST_LETTER_PX = 9.0
LEAST_TEXT_PX = 13.0
# The rules of axe-core (npm), which `run` installs; without it they are not checked, and the script says so.
AXE = pathlib.Path(os.environ.get("AXE", ROOT / "target/outside-npm/node_modules/axe-core/axe.min.js"))
# WCAG 2.1, success criterion 1.4.3: 4.5:1 for text.
LEAST_CONTRAST = 4.5

# Every piece of text with its colour, the first opaque background behind it, and its size.
TEXTS = """
(() => {
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode, parent = node.parentElement;
    if (!node.textContent.trim() || !parent || parent.closest('script,style,svg,option') || !parent.checkVisibility()) continue;
    const style = getComputedStyle(parent);
    let behind = parent, background = 'rgb(255, 255, 255)';
    while (behind) {
      const colour = getComputedStyle(behind).backgroundColor;
      if (!colour.startsWith('rgba')) { background = colour; break; }
      behind = behind.parentElement;
    }
    found.push([style.color, background, parseFloat(style.fontSize), node.textContent.trim().slice(0, 40)]);
  }
  return found;
})()
"""

# Letters in drawings: nominal size times how much the drawing is scaled.
DRAWN = """
(async () => {
  const found = [];
  for (const svg of document.querySelectorAll('svg')) {
    if (!svg.checkVisibility()) continue;
    const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    for (const text of svg.querySelectorAll('text')) found.push(scale * parseFloat(getComputedStyle(text).fontSize));
  }
  for (const image of document.querySelectorAll('img')) {
    await image.decode();
    if (!image.checkVisibility()) continue;
    found.push(image.getBoundingClientRect().width / image.naturalWidth * SMALLEST);
  }
  return found;
})()
"""


def luminance(colour):
    """Relative luminance, WCAG 2.1."""
    parts = [int(part) / 255 for part in re.findall(r"\d+", colour)[:3]]
    red, green, blue = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    high, low = sorted([luminance(one), luminance(other)], reverse=True)
    return (high + 0.05) / (low + 0.05)


def smallest_letter(folder):
    """Smallest letters of the drawings beside the pages, in their own units."""
    sizes = [float(size) for svg in folder.glob("figures/*.svg") for size in re.findall(r'font-size="([0-9.]+)"', svg.read_text())]
    return min(sizes, default=12.0)


def look(browser, checks, page, width, smallest):
    browser.size(width)
    browser.open(page.as_uri())
    browser.settled()
    legible(browser, checks, f"{page.name} at {width} px", width, smallest)


def legible(browser, checks, name, width, smallest):
    """The page as it stands, in a window of this width."""
    wide = browser.run("document.documentElement.scrollWidth")
    checks.that(wide <= width, f"{name}: {wide} px wide")
    texts = browser.run(TEXTS)
    checks.that(len(texts) > 5, f"{name}: hardly any text")
    for colour, background, size, words in texts:
        ratio = contrast(colour, background)
        checks.that(ratio >= LEAST_CONTRAST, f"{name}: contrast {ratio:.2f} of '{words}'")
        checks.that(size >= LEAST_TEXT_PX, f"{name}: {size} px letters in '{words}'")
    for size in browser.run(DRAWN.replace("SMALLEST", str(smallest))):
        checks.that(size >= LEAST_LETTER_PX, f"{name}: {size:.1f} px letters in a drawing")
    silent = browser.run(
        "[...document.querySelectorAll('img,svg')].filter(p => !((p.getAttribute('alt') || p.getAttribute('aria-label') || '').length > 10)).length")
    checks.that(silent == 0, f"{name}: {silent} pictures without words")
    blank = browser.run("[...document.querySelectorAll('img')].filter(i => i.complete && i.naturalWidth === 0).length")
    checks.that(blank == 0, f"{name}: {blank} pictures do not load")


def sliders(browser, checks, page):
    """Every stop of every slider by arrow keys: another choice is shown each time, and exactly one."""
    browser.size(1280)
    browser.open(page.as_uri())
    browser.settled()
    count = browser.run("document.querySelectorAll('.explorer').length")
    for box in range(count):
        inside = f"document.querySelectorAll('.explorer')[{box}]"
        shown = f"[...{inside}.querySelectorAll('.choice')].filter(c => c.checkVisibility()).map(c => c.dataset.at)"
        seen = set()
        axes = browser.run(f"[...{inside}.querySelectorAll('input')].map(s => Number(s.max))")

        def walk(axis):
            if axis == len(axes):
                visible = browser.run(shown)
                wanted = browser.run(f"[...{inside}.querySelectorAll('input')].map(s => s.value).join(',')")
                checks.that(visible == [wanted], f"{page.name}: sliders at {wanted} show {visible}")
                stop = browser.run(f"{inside}.querySelector('input').getAttribute('aria-valuetext')")
                output = browser.run(f"{inside}.querySelector('output').textContent")
                checks.that(stop == output and stop, f"{page.name}: slider says '{stop}', page '{output}'")
                seen.add(wanted)
                return
            focus = f"{inside}.querySelectorAll('input')[{axis}].focus()"
            browser.run(focus)
            browser.press("Home")
            for stop in range(axes[axis] + 1):
                walk(axis + 1)
                browser.run(focus)
                browser.press("ArrowRight")

        walk(0)
        all_choices = browser.run(f"{inside}.querySelectorAll('.choice').length")
        checks.that(len(seen) == all_choices, f"{page.name}: {len(seen)} of {all_choices} choices reached by keyboard")
    return count


def together(browser, checks, name):
    """Sentence, field, waveform, half bits and bit are in view at once, none behind another."""
    head, words, card, window = browser.run(
        "[...['.stepper .head', '.words .now', '.card.now'].map(one => document.querySelector(one).getBoundingClientRect()).map(box => [box.top, box.bottom]), window.innerHeight]")
    whole = -1 <= head[0] <= words[0] and words[1] <= head[1] + 1 <= card[0] + 2 and card[1] <= window + 1
    checks.that(whole, f"{name}: head {head}, words {words}, card {card} in {window} px")
    row = browser.run("[...document.querySelectorAll('tr.now')].map(row => row.cells[1].textContent).join()")
    checks.that(row in browser.run("document.querySelector('.stepper .controls').textContent"), f"{name}: the field '{row}' is not beside the slider")


def stepper(browser, checks, page):
    browser.size(1280)
    browser.open(page.as_uri())
    browser.settled()
    if not browser.run("document.querySelectorAll('.stepper').length"):
        return False
    browser.run("document.querySelector('#bit').focus()")
    browser.press("Home")
    fields = set()
    for bit in range(128):
        state = browser.run(
            "[...document.querySelectorAll('.stepper .words li')].filter(l => l.checkVisibility()).map(l => Number(l.dataset.bit))")
        lit = browser.run("[...document.querySelectorAll('.bit.now')].map(b => Number(b.dataset.bit))")
        cards = browser.run("document.querySelectorAll('.card.now').length")
        checks.that(state == [bit] and lit == [bit] and cards == 1, f"{page.name}: at bit {bit} words {state}, bits {lit}, {cards} cards")
        fields.update(browser.run("[...document.querySelectorAll('tr.now')].map(r => r.cells[1].textContent)"))
        together(browser, checks, f"{page.name}: bit {bit}")
        browser.press("ArrowRight")
    checks.that(len(fields) == 7, f"{page.name}: fields lit were {sorted(fields)}")
    browser.run("document.querySelector('button[data-move=\"-1\"]').focus()")
    browser.press("Enter")
    checks.that(browser.run("document.querySelector('#bit').value") == "126", f"{page.name}: button by keyboard")
    return True


def answers(browser, checks, page):
    browser.open(page.as_uri())
    browser.settled()
    count = browser.run("document.querySelectorAll('.answer').length")
    for place in range(count):
        visible = f"document.querySelectorAll('.answer')[{place}].checkVisibility()"
        checks.that(not browser.run(visible), f"{page.name}: an answer is open at once")
        browser.run(f"document.querySelectorAll('.answer-button')[{place}].focus()")
        browser.press("Enter")
        checks.that(browser.run(visible), f"{page.name}: the answer does not open by keyboard")
    return count


def squeezed(text):
    """Without blanks, hyphens and ligatures, which paper sets otherwise."""
    return re.sub(r"[\s\u200b\u00ad-]+", "", unicodedata.normalize("NFKC", text))


def printed(browser, checks, page):
    """Everything that is in the page, shown or not, is in the PDF, apart from buttons, sliders, ways to other pages, answers, which have a
    page of their own, and the stepper's sentences, whose content the cards and the table of fields print."""
    browser.size(1280)
    browser.open(page.as_uri())
    browser.settled()
    paper = squeezed("".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(browser.pdf())).pages))
    pieces = browser.run(
        "[...document.querySelectorAll('h1,h2,h3,h4,p,li,td,th,pre')].filter(e => !e.closest('.controls,nav,.words,.answer,.buttons') && !e.querySelector('h1,h2,h3,h4,p,li,td,th,pre'))"
        ".map(e => e.textContent)")
    missing = [piece for piece in pieces if squeezed(piece)[:24] not in paper]
    checks.that(not missing, f"{page.name}: {len(missing)} of {len(pieces)} pieces are not printed, for example {missing[:2]}")
    hidden = browser.run("[...document.querySelectorAll('.answer > p')].map(e => e.textContent)")
    told = [piece for piece in hidden if len(squeezed(piece)) > 40 and squeezed(piece) in paper]
    checks.that(not told, f"{page.name}: answers are printed: {told[:1]}")
    pictures = browser.run("document.querySelectorAll('img').length")
    return len(pieces), pictures


def rules(browser, checks, page, script):
    """axe-core's rules, light and dark."""
    browser.size(1280)
    for dark in (False, True):
        browser.scheme(dark)
        browser.open(page.as_uri())
        browser.settled()
        unbroken(browser, checks, f"{page.name}, {'dark' if dark else 'light'}", script)
    browser.scheme(False)


def unbroken(browser, checks, name, script):
    """The page as it stands breaks no rule."""
    browser.run(script + "; 0")
    found = browser.run(
        "axe.run({resultTypes: ['violations'], preload: false}).then(r => r.violations.map(v => v.id + ': ' + v.nodes.slice(0, 2).map(n => n.html.slice(0, 90)).join(' | ')))")
    checks.that(not found, f"{name}: {found}")


def main():
    checks = Checks()
    with tempfile.TemporaryDirectory() as place:
        place = pathlib.Path(place)
        folder = place / "lesson"
        subprocess.run([PROGRAM, "lesson", str(folder), "--exercise", "3"], check=True, stdout=subprocess.DEVNULL)
        report = place / "report.html"
        captures = ["intake-clean.wav", "cattery-no-tag.wav", "intake-two-tags.wav", "cattery-logic.wav"]
        subprocess.run([PROGRAM, "decode", *captures, "--report", str(report)], cwd=ROOT / "waveforms", stdout=subprocess.DEVNULL)
        pages = sorted(folder.rglob("*.html")) + [report]
        smallest = smallest_letter(folder)
        axe = AXE.read_text() if AXE.exists() else ""
        if not axe:
            print(f"axe-core is not there ({AXE}): its rules are not checked")
        browser = Browser()
        try:
            counts = {"sliders": 0, "steppers": 0, "answers": 0, "pieces": 0, "pictures": 0}
            for page in pages:
                for width in (320, 390, 1280):
                    look(browser, checks, page, width, smallest)
                counts["sliders"] += sliders(browser, checks, page)
                counts["steppers"] += stepper(browser, checks, page)
                counts["answers"] += answers(browser, checks, page)
                pieces, pictures = printed(browser, checks, page)
                counts["pieces"] += pieces
                counts["pictures"] += pictures
                if axe:
                    rules(browser, checks, page, axe)
            # What is played with needs no network, and there is none.
            browser.call("Network.emulateNetworkConditions", offline=True, latency=0, downloadThroughput=0, uploadThroughput=0)
            counts["with code"], counts["compared"] = play(browser, checks, folder)
            browser.size(1280)
            browser.open(report.as_uri())
            counts["records"] = browser.run("document.querySelectorAll('.record').length")
            counts["bits"] = record(browser, checks, report.name, ROOT / "waveforms" / captures[0])
            outside = [url for url in browser.requests if not url.startswith((place.as_uri(), "data:", "about:", "blob:"))]
            checks.that(not outside, f"requests leave the folder: {outside[:3]}")
            checks.that(not browser.complaints, f"complaints of the browser: {browser.complaints[:3]}")
        finally:
            browser.close()
        chapters = len(json.loads((folder / "captures.json").read_text())["captures"])
        checks.that(counts["sliders"] >= 4 and counts["steppers"] >= 1 and counts["answers"] >= 10, f"parts found: {counts}")
        print(f"{len(pages)} pages, {chapters} captures, {counts}")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

"""The whole record of a report on its canvas, by keyboard alone: it is reached, comes closer, moves, and the bits that it says lie there are those
of the telegram. Part of check_pages.py and check_reader.py."""

import json
import os
import pathlib
import re
import subprocess

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = os.environ.get("FIELDRIPPLE", str(ROOT / "target/release/fieldripple"))
# The page waits so long before it says what is in view, and a slow machine a little longer.
SETTLED = "new Promise(done => setTimeout(done, 400))"
PIXELS = "(() => { const c = document.querySelector('.record canvas'); return c.toDataURL().length + ':' + c.toDataURL().slice(-2000); })()"


def said(browser):
    browser.run(SETTLED)
    return browser.run("document.querySelector('.record .status').textContent")


def view(text):
    """Begin and end in view, ms."""
    found = re.match(r"([0-9.]+) to ([0-9.]+) (ms|s)\.", text)
    factor = {"ms": 1, "s": 1000}[found[3]]
    return factor * float(found[1]), factor * float(found[2])


def record(browser, checks, name, capture):
    """The first record of the page that is open; `capture` is its file."""
    checks.that(browser.run("document.querySelector('.record').checkVisibility()"), f"{name}: no record is shown")
    browser.run("document.activeElement.blur()")
    for _ in range(80):
        browser.press("Tab")
        if browser.run("document.activeElement.tagName") == "CANVAS":
            break
    checks.that(browser.run("document.activeElement === document.querySelector('.record canvas')"), f"{name}: the tabulator does not reach the record")
    described = browser.run("document.getElementById(document.activeElement.getAttribute('aria-describedby')).textContent")
    checks.that("Arrow keys" in described and len(browser.run("document.activeElement.getAttribute('aria-label')")) > 20, f"{name}: the record says nothing of itself")
    whole, pixels = view(said(browser)), browser.run(PIXELS)
    browser.press("ArrowUp")
    half = view(said(browser))
    checks.that(abs((half[1] - half[0]) / (whole[1] - whole[0]) - 0.5) < 0.01, f"{name}: closer shows {half} of {whole}")
    checks.that(browser.run(PIXELS) != pixels, f"{name}: the picture stands still")
    for key, moved in (("ArrowLeft", -1), ("ArrowRight", 1)):
        before = view(said(browser))
        browser.press(key)
        after = view(said(browser))
        checks.that(moved * (after[0] - before[0]) > 0, f"{name}: {key} moves from {before} to {after}")
    browser.press("End")
    checks.that(abs(view(said(browser))[1] - whole[1]) < 0.01, f"{name}: End does not show the end")
    browser.press("Home")
    checks.that(abs(view(said(browser))[0] - whole[0]) < 0.01, f"{name}: Home does not show the beginning")
    told = bits(browser, checks, name, capture)
    browser.run("document.querySelector('.record button[data-move=all]').focus()")
    browser.press("Enter")
    checks.that(view(said(browser)) == whole, f"{name}: the button does not show all")
    inside = browser.run("(() => { const c = document.querySelector('.record canvas'); return c.getBoundingClientRect().right <= document.documentElement.clientWidth; })()")
    checks.that(inside, f"{name}: the canvas is wider than the page")
    return told


def bits(browser, checks, name, capture):
    """Closer until bits are said; they are the telegram's, from the place on that is said."""
    line = subprocess.run([PROGRAM, "decode", str(capture), "--json"], capture_output=True, text=True, timeout=300).stdout
    numbers = [reading["id"] for reading in json.loads(line)["readings"] if reading["kind"] == "fdx-b"]
    for _ in range(12):
        browser.press("ArrowUp")
        found = re.findall(r"(\d+) (\d{12}): bits (\d+) to (\d+): ([01?]+)\.", said(browser))
        if found:
            break
    for _ in range(4):
        browser.press("ArrowRight")
    found = re.findall(r"(\d+) (\d{12}): bits (\d+) to (\d+): ([01?]+)\.", said(browser))
    checks.that(len(found) == len(numbers), f"{name}: bits of {len(found)} of {len(numbers)} tags")
    for country, national, first, last, digits in found:
        sent = subprocess.run([PROGRAM, "telegram", f"{country}:{national}", "--json"], capture_output=True, text=True, timeout=60).stdout
        turning = json.loads(sent)["bits"] * 3
        first = int(first)
        expected = turning[first:first + len(digits)]
        same = all(digit in ("?", other) for digit, other in zip(digits, expected))
        checks.that(same and (first + len(digits) - 1) % 128 == int(last), f"{name}: {country} {national} at {first}: {digits}, sent {expected}")
        checks.that(country + national in numbers, f"{name}: {country} {national} was not read")
    return len(found)

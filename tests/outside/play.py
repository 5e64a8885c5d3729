"""Pages to play with, by keyboard alone: what each shows moves, and what it says is what the program says. Part of check_pages.py."""

import json
import os
import subprocess
import pathlib

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = os.environ.get("FIELDRIPPLE", str(ROOT / "target/release/fieldripple"))


def drawn(browser, name):
    return browser.run(f"document.getElementById('{name}').innerHTML")


def focus(browser, name):
    browser.run(f"document.getElementById('{name}').focus()")


def press(browser, name, key, times=1):
    focus(browser, name)
    for _ in range(times):
        browser.press(key)


def tabs_to(browser, checks, page, ids):
    """Every control is reached with the tabulator, in the order of the page."""
    browser.run("document.activeElement.blur()")
    reached = []
    for _ in range(60):
        browser.press("Tab")
        reached.append(browser.run("document.activeElement.id"))
    found = [name for name in reached if name in ids]
    checks.that(found[:len(ids)] == ids, f"{page.name}: tabulator reaches {found[:len(ids)]}, not {ids}")


def bench(browser, checks, page):
    """Every slider moves currents, phasor and envelope; the circuits worked out in the page are those of the program: settled values to
    1e-4, where the page rounds mutual inductances to 1e-6 of the largest; the ripple while a telegram is sent to 1.5 %: the page holds
    a phasor a cycle (0.2 % at the bits' third harmonic) and switches at the start of a cycle, the program where the tag's clock does."""
    browser.open(page.as_uri())
    tabs_to(browser, checks, page, ["distance", "tilt", "reader", "tag", "q", "load", "reset", "zoom"])
    plots = ["currents", "phasor", "envelope"]
    scene = drawn(browser, "scene")
    for name in ["distance", "tilt", "reader", "tag", "q", "load"]:
        before = [drawn(browser, plot) for plot in plots]
        press(browser, name, "ArrowRight", 2)
        still = [plot for plot, was in zip(plots, before) if drawn(browser, plot) == was]
        checks.that(not still, f"{page.name}: {name} moves all but {still}")
    checks.that(drawn(browser, "scene") != scene, f"{page.name}: the drawing stands still")
    compared = 0
    for distance, tilt, reader, tag, q, load in [(2, 0, 134.2, 134.2, 30, 10), (0, 3, 134.2, 138.0, 45, 6), (8, 9, 140.0, 134.2, 20, 14), (5, 0, 131.0, 130.0, 60, 10)]:
        browser.run(f"[S.distance.value, S.tilt.value, S.reader.value, S.tag.value, S.q.value, S.load.value] = [{distance}, {tilt}, {reader}, {tag}, {q}, {load}]; update()")
        here = browser.run(
            "(() => { const b = now(), o = settled(b, false), c = settled(b, true), s = ripple([o.antenna, c.antenna]), t = ripple(sent(b, DATA.halves));"
            "return {tag_v: size(o.vc2), antenna_v: size(o.antenna), antenna_a: size(o.i1), settled_depth: s.depth, settled_angle_deg: s.angle, depth: t.depth, angle_deg: t.angle}; })()")
        command = browser.run("document.getElementById('command').textContent").split()
        number = next(capture["command"].split("--id ")[1].split()[0] for capture in json.loads((page.parent / "captures.json").read_text())["captures"] if "--id" in capture["command"])
        there = json.loads(subprocess.run([PROGRAM, *command[1:], "--set", f"tag.1.id={number}", "--json"], check=True, capture_output=True).stdout)["positions"][0]
        for key, share in [("tag_v", 1e-4), ("antenna_v", 1e-4), ("antenna_a", 1e-4), ("settled_depth", 3e-4), ("depth", 1.5e-2)]:
            checks.near(here[key], there[key], share * abs(there[key]), f"{page.name}: {key} by {' '.join(command)}")
        for key, degrees in [("settled_angle_deg", 0.05), ("angle_deg", 1.0)]:
            apart = (here[key] - there[key] + 90) % 180 - 90
            checks.that(abs(apart) <= degrees, f"{page.name}: {key} {here[key]} and {there[key]} by {' '.join(command)}")
        compared += 1
    return compared


def folding(browser, checks, page):
    """One telegram more at each press: the eye changes, the odds are those embedded, and at the end the number is read; wrong foldings close the eye."""
    browser.open(page.as_uri())
    tabs_to(browser, checks, page, ["capture", "count", "error", "more", "turn"])
    seen = set()
    last = browser.run("DATA.telegrams")
    for _ in range(last):
        seen.add(drawn(browser, "eye"))
        press(browser, "more", "Enter")
    checks.that(len(seen) == last, f"{page.name}: {len(seen)} eyes of {last} telegrams")
    said = browser.run("document.getElementById('said').textContent")
    number = browser.run("DATA.id")
    checks.that(f"Read: {number}" in said, f"{page.name}: {said}")
    opening = "(() => { const e = opening(steps(folded(choice(), count.value, error.value, turned()))); return e.mean / e.spread; })()"
    right = browser.run(opening)
    press(browser, "turn", "Enter")
    upright = browser.run(opening)
    checks.that(upright < 0.5 * right and "wrongly" in browser.run("document.getElementById('said').textContent"), f"{page.name}: not turned over, {upright} of {right}")
    press(browser, "turn", "Enter")
    press(browser, "error", "ArrowRight", 4)
    late = browser.run(opening)
    checks.that(late < 0.5 * right, f"{page.name}: counted wrongly, {late} of {right}")
    press(browser, "error", "ArrowLeft", 4)
    press(browser, "capture", "ArrowDown")
    said = browser.run("document.getElementById('said').textContent")
    checks.that("Not read" in said, f"{page.name}: the weaker capture: {said}")


def breaking(browser, checks, page):
    """A flipped bit shows in header, control bits or CRC as it should; the CRC is worked out here again, from its catalogue entry."""
    browser.open(page.as_uri())
    tabs_to(browser, checks, page, ["level", "whole", "shift", "tag", "reader"])
    told = lambda: browser.run("[...document.querySelectorAll('#checks td')].map(c => c.textContent)")
    said = lambda: browser.run("document.getElementById('said').textContent")
    checks.that(all(words.startswith("right") for words in told()) and "Read:" in said(), f"{page.name}: whole, {told()} {said()}")
    whole = browser.run("DATA.bits")
    for place in [0, 10, 19, 11, 50, 83, 90, 100, 110]:
        browser.run(f"document.querySelectorAll('[data-bit]')[{place}].focus()")
        browser.press("Enter")
        header, controls, crc = told()[:3]
        control = place > 10 and (place - 11) % 9 == 8
        bits = [int(bit) for bit in whole]
        bits[place] ^= 1
        register = 0
        for bit in [bits[k] for k in range(11, 101) if (k - 11) % 9 != 8]:
            register = (register >> 1) ^ (0x8408 if (register ^ bit) & 1 else 0)
        checks.that((place > 10) == header.startswith("right"), f"{page.name}: bit {place}: {header}")
        checks.that(control != controls.startswith("right"), f"{page.name}: bit {place}: {controls}")
        checks.that((register == 0) == crc.startswith("right") and (register == 0 or f"{register:04X}" in crc), f"{page.name}: bit {place}: {crc}, {register:04X}")
        # The trailer is not part of what is decided.
        checks.that(place > 100 or "Not read" in said(), f"{page.name}: bit {place}: {said()}")
        browser.press("Enter")
    press(browser, "shift", "Enter")
    checks.that("half a bit off" in told()[-1] and "Not read" in said(), f"{page.name}: shifted, {told()} {said()}")
    press(browser, "tag", "Enter")
    checks.that(said().startswith("2 numbers"), f"{page.name}: with a second tag: {said()}")
    press(browser, "reader", "Enter")
    checks.that("numbers." in said(), f"{page.name}: with a second reader: {said()}")
    press(browser, "whole", "Enter")
    checks.that("Read:" in said(), f"{page.name}: whole again, {said()}")


def decoding(browser, checks, page):
    """A byte decoded with keys: half bits from the line code's rule applied to the number's bits, a wrong one named, bits, byte."""
    browser.open(page.as_uri())
    press(browser, "next", "Enter")
    said = lambda: browser.run("document.getElementById('said').textContent")
    group = browser.run("DATA.groups[1]")
    halves = browser.run(f"DATA.halves.slice({2 * group['first']}, {2 * group['last'] + 2})")
    bits = group["bits"] + group["control"]
    for place, bit in enumerate(bits):
        pair = halves[2 * place:2 * place + 2]
        checks.that((pair[0] == pair[1]) == (bit == "1"), f"{page.name}: bit {place} is {bit}, halves {pair}")
    wrong = 0
    for place, mark in enumerate(halves):
        browser.run(f"document.querySelectorAll('[data-half]')[{place}].focus()")
        browser.press("Enter")
        if mark == "-":
            wrong += said().startswith("Look again")
            browser.press(" ")
        checks.that(said().startswith(("Right", "All half bits")), f"{page.name}: half bit {place}: {said()}")
    checks.that(wrong == halves.count("-"), f"{page.name}: {wrong} wrong half bits named")
    for place, bit in enumerate(bits):
        browser.run(f"document.querySelectorAll('[data-digit]')[{place}].focus()")
        for _ in range(1 + int(bit)):
            browser.press("Enter")
    checks.that(said().startswith("All bits are right"), f"{page.name}: bits: {said()}")
    focus(browser, "byte")
    browser.call("Input.insertText", text=group["hex"].lower())
    press(browser, "check", "Enter")
    checks.that(said().startswith("Right: " + group["hex"]), f"{page.name}: byte: {said()}")


PLAYED = {"play-bench": bench, "play-folding": folding, "play-break": breaking, "play-decode": decoding}


def play(browser, checks, folder):
    browser.size(1280)
    for name, one in PLAYED.items():
        one(browser, checks, folder / f"{name}.html")
    return len(PLAYED)

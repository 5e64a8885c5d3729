"""Pages to play with, by keyboard alone: what each shows moves, and what it says is what the program says of the same input. Where the program was
built with its code for browsers, each page is tried twice: with that code, and with what was worked out beforehand. Part of check_pages.py.

What the code in the page works out in double precision is held to 1e-7: circuits are solved to some 1e-12 of their voltages on either machine,
and a ripple of 1e-4 of the field is a difference of them, 1e-8 and some. What the receiver says is held to what check_reader.py holds it to."""

import json
import os
import pathlib
import re
import subprocess

from compare import same

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = os.environ.get("FIELDRIPPLE", str(ROOT / "target/release/fieldripple"))
DOUBLE = 1e-7


def drawn(browser, name):
    return browser.run(f"document.getElementById('{name}').innerHTML")


def focus(browser, name):
    browser.run(f"document.getElementById('{name}').focus()")


def press(browser, name, key, times=1):
    focus(browser, name)
    for _ in range(times):
        browser.press(key)
    browser.settled()


def said(browser):
    return browser.run("document.getElementById('said').textContent")


def opened(browser, page):
    browser.open(page.as_uri())
    browser.settled()
    source = browser.run("document.getElementById('source').textContent")
    return source


def tabs_to(browser, checks, page, ids):
    """Every control is reached with the tabulator, in the order of the page."""
    browser.run("document.activeElement.blur()")
    reached = []
    for _ in range(60):
        browser.press("Tab")
        reached.append(browser.run("document.activeElement.id"))
    found = [name for name in reached if name in ids]
    checks.that(found[:len(ids)] == ids, f"{page.name}: tabulator reaches {found[:len(ids)]}, not {ids}")


def native(*arguments):
    return json.loads(subprocess.run([PROGRAM, *arguments, "--json"], capture_output=True, check=False).stdout)


def decoded(answer, folder):
    """What the program prints of the file in an answer."""
    file = folder / answer["name"]
    file.write_bytes(bytes.fromhex(answer["file"]))
    done = subprocess.run([PROGRAM, "decode", file.name, "--json"], cwd=folder, capture_output=True, text=True)
    file.unlink()
    return json.loads(done.stdout)


def bench(browser, checks, page, live):
    """Every slider moves currents, phasor and envelope. With the program's code, at any stop, all is as `link` says. Without it, at every fifth
    one: settled values to 1e-4, where the page rounds mutual inductances to 1e-6 of the largest; the ripple while a telegram is sent to 1.5 %:
    the page holds a phasor a cycle (0.2 % at the bits' third harmonic) and switches at the start of a cycle, the program where the tag's clock does."""
    tabs_to(browser, checks, page, ["distance", "tilt", "reader", "tag", "q", "load", "reset", "zoom"])
    plots = ["currents", "phasor", "envelope"]
    scene = drawn(browser, "scene")
    for name in ["distance", "tilt", "reader", "tag", "q", "load"]:
        before = [drawn(browser, plot) for plot in plots]
        press(browser, name, "ArrowRight", 3)
        still = [plot for plot, was in zip(plots, before) if drawn(browser, plot) == was]
        checks.that(not still, f"{page.name}: {name} moves all but {still}")
    checks.that(drawn(browser, "scene") != scene, f"{page.name}: the drawing stands still")
    press(browser, "reset", "Enter")
    places = [(20, 0, 134.2, 134.2, 30, 10), (10, 15, 134.2, 138.0, 45, 6), (50, 45, 140.0, 134.2, 20, 14), (35, 0, 131.0, 130.0, 60, 10)]
    if live:
        places += [(23, 17, 134.2, 134.2, 30, 10), (11, 1, 133.0, 136.4, 33, 13), (147, 71, 134.2, 134.0, 30, 3)]
    compared = 0
    for place in places:
        browser.run(f"[S.distance.value, S.tilt.value, S.reader.value, S.tag.value, S.q.value, S.load.value] = {list(place)}; update()")
        browser.settled()
        here = browser.run("live ? have(now()) : local(now())")
        command = browser.run("document.getElementById('command').textContent").split()
        there = native(*command[1:])["positions"][0]
        shares = {"tag_v": 1e-4, "antenna_v": 1e-4, "antenna_a": 1e-4, "settled_depth": 3e-4, "depth": 1.5e-2}
        for key, share in shares.items():
            checks.near(here[key], there[key], (DOUBLE if live else share) * abs(there[key]), f"{page.name}: {key} by {' '.join(command)}")
        for key, degrees in [("settled_angle_deg", 0.05), ("angle_deg", 1.0)]:
            apart = (here[key] - there[key] + 90) % 180 - 90
            checks.that(abs(apart) <= (90 * DOUBLE if live else degrees), f"{page.name}: {key} {here[key]} and {there[key]} by {' '.join(command)}")
        shown = browser.run("[...document.querySelectorAll('#numbers td')].map(cell => cell.textContent)")
        wanted = f"{100 * here['settled_depth']:.4f} %, {here['settled_angle_deg']:.1f}°".replace("-", "−")
        checks.that(wanted in shown, f"{page.name}: {wanted} is not in {shown}")
        checks.that((("it runs" in shown[4]) == there["powered"]), f"{page.name}: {shown[4]}, the program says {there['powered']}")
        compared += 1
    return compared


def folding(browser, checks, page, live):
    """One telegram more at each press: the eye changes, and at the end the number is read; wrong foldings close the eye. With the program's code:
    number and odds after so many telegrams are those that the program prints of them as a file."""
    tabs_to(browser, checks, page, ["capture", "count", "error", "more", "turn"])
    seen = set()
    last = browser.run("DATA.telegrams")
    for _ in range(last):
        seen.add(drawn(browser, "eye"))
        press(browser, "more", "Enter")
    checks.that(len(seen) == last, f"{page.name}: {len(seen)} eyes of {last} telegrams")
    number = browser.run("DATA.id")
    if live:
        focus(browser, "count")
        press(browser, "count", "ArrowLeft")
    checks.that(f"Read: {number}" in said(browser), f"{page.name}: {said(browser)}")
    opening = "(() => { const e = opening(steps(folded(have(asked('folding-waves', most())).waves, count.value, error.value, turned()))); return e.mean / e.spread; })()"
    right = browser.run(opening)
    press(browser, "turn", "Enter")
    upright = browser.run(opening)
    checks.that(upright < 0.5 * right and "wrongly" in said(browser), f"{page.name}: not turned over, {upright} of {right}")
    if live:
        checks.that("From these steps" in said(browser) and "the right number" not in said(browser), f"{page.name}: not turned over: {said(browser)}")
    press(browser, "turn", "Enter")
    press(browser, "error", "ArrowRight", 4)
    late = browser.run(opening)
    checks.that(late < 0.5 * right, f"{page.name}: counted wrongly, {late} of {right}")
    press(browser, "error", "ArrowLeft", 4)
    if not live:
        press(browser, "capture", "ArrowLeft")
        checks.that("Not read" in said(browser), f"{page.name}: the weaker capture: {said(browser)}")
        return 1
    compared = 0
    for stop, telegrams in [(10, 1), (10, 9), (2, 20), (8, 24), (16, 2)]:
        browser.run(f"level.value = {stop}; count.value = {telegrams}; update()")
        browser.settled()
        press(browser, "keep", "Enter")
        here = browser.run("have(asked('folding', count.value))")
        there = decoded(browser.run("have(asked('folding-capture', count.value))"), page.parent)
        name = f"{page.name}: {telegrams} telegrams at {browser.run('levels()[level.value]')} dB"
        checks.that(not browser.run("document.getElementById('save').hidden") and browser.run("document.getElementById('save').href").startswith("blob:"), f"{name}: no file")
        checks.that(here["read"] == bool(there["readings"]), f"{name}: read {here['read']}, the program {there['verdict']}")
        best = (there["readings"] or [there["candidate"]])[0]
        if best:
            found = same({"odds_wrong": here["odds"], "id": here["id"].replace(" ", "")}, {"odds_wrong": best["odds_wrong"], "id": best["id"]})
            checks.that(not found, f"{name}: {found}")
            if here["read"]:
                checks.that(f"Read: {here['id']}, wrong with a probability of {here['words']}" in said(browser), f"{name}: {said(browser)}")
        checks.that(here["read"] or "Not read" in said(browser), f"{name}: {said(browser)}")
        compared += 1
    return compared


def breaking(browser, checks, page, live):
    """A flipped bit shows in header, control bits or CRC as it should; the CRC is worked out here again, from its catalogue entry. With the
    program's code, what the receiver says of the bits as they are, and with other things beside them, is what the program prints of the file."""
    tabs_to(browser, checks, page, ["level", "whole"] + (["noise"] if live else []) + ["shift", "tag", "reader"])
    told = lambda: browser.run("[...document.querySelectorAll('#checks td')].map(c => c.textContent)")
    checks.that(all(words.startswith("right") for words in told()[:3]) and "Read:" in said(browser), f"{page.name}: whole, {told()} {said(browser)}")
    whole = browser.run("DATA.bits")
    compared = 0

    def receiver(name):
        """The answer shown is that of the program, of the same file."""
        answer = browser.run("capture()")
        there = decoded(answer, page.parent)
        found = same(json.loads(answer["json"]), there)
        checks.that(not found, f"{page.name}: {name}: {found[:3]}")
        ids = [number.replace(" ", "") for number in answer["numbers"]]
        checks.that(ids == [reading["id"] for reading in there["readings"]], f"{page.name}: {name}: {ids}")
        checks.that(answer["outcome"] in said(browser), f"{page.name}: {name}: {said(browser)}")
        checks.that(not browser.run("document.getElementById('save').hidden"), f"{page.name}: {name}: no file")

    def flip(*places):
        for place in places:
            browser.run(f"document.querySelectorAll('[data-bit]')[{place}].focus()")
            browser.press("Enter")
        browser.settled()

    for places in [(0,), (10,), (19,), (11,), (50,), (83,), (90,), (100,), (110,), (5, 50, 90), (20, 21, 37)]:
        flip(*places)
        header, controls, crc = told()[:3]
        wrong = sum(place > 10 and (place - 11) % 9 == 8 for place in places)
        bits = [int(bit) for bit in whole]
        for place in places:
            bits[place] ^= 1
        register = 0
        for bit in [bits[k] for k in range(11, 101) if (k - 11) % 9 != 8]:
            register = (register >> 1) ^ (0x8408 if (register ^ bit) & 1 else 0)
        checks.that((min(places) > 10) == header.startswith("right"), f"{page.name}: bits {places}: {header}")
        checks.that(controls.startswith(f"{wrong} of 13" if wrong else "right"), f"{page.name}: bits {places}: {controls}")
        checks.that((register == 0) == crc.startswith("right") and (register == 0 or f"{register:04X}" in crc), f"{page.name}: bits {places}: {crc}, {register:04X}")
        # The trailer is not part of what is decided.
        if live:
            receiver(f"bits {places}")
            compared += 1
        elif len(places) == 1:
            checks.that(places[0] > 100 or "none. The likeliest" in said(browser), f"{page.name}: bits {places}: {said(browser)}")
        else:
            checks.that("not worked out" in said(browser), f"{page.name}: bits {places}: {said(browser)}")
        flip(*places)
    press(browser, "shift", "Enter")
    checks.that(any("half a bit off" in words for words in told()) and told()[0] == "wrong", f"{page.name}: shifted, {told()}")
    checks.that("Read:" in said(browser), f"{page.name}: shifted: {said(browser)}")
    if live:
        receiver("shifted")
        press(browser, "noise", "Enter")
        receiver("other noise")
        press(browser, "level", "Home")
        receiver("no signal to speak of")
        press(browser, "level", "End")
    press(browser, "shift", "Enter")
    press(browser, "tag", "Enter")
    checks.that("a second transponder" in said(browser) and said(browser).count("Read:") == 2, f"{page.name}: with a second tag: {said(browser)}")
    press(browser, "reader", "Enter")
    checks.that("a second reader" in said(browser) and "Read:" in said(browser), f"{page.name}: with a second reader: {said(browser)}")
    if live:
        receiver("with tag and reader")
    press(browser, "whole", "Enter")
    checks.that("Read:" in said(browser) and "second" not in said(browser).split("Read:")[0], f"{page.name}: whole again, {said(browser)}")
    return compared


def by_hand(browser, checks, page, group, halves):
    """One byte with keys: half bits, a wrong one named, bits, byte."""
    bits = group["bits"] + (group["control"] or "")
    for place, bit in enumerate(bits):
        pair = halves[2 * place:2 * place + 2]
        checks.that((pair[0] == pair[1]) == (bit == "1"), f"{page.name}: bit {place} is {bit}, halves {pair}")
    wrong = 0
    for place, mark in enumerate(halves):
        browser.run(f"document.querySelectorAll('[data-half]')[{place}].focus()")
        browser.press("Enter")
        if mark == "-":
            wrong += said(browser).startswith("Look again")
            browser.press(" ")
        checks.that(said(browser).startswith(("Right", "All half bits")), f"{page.name}: half bit {place}: {said(browser)}")
    checks.that(wrong == halves.count("-"), f"{page.name}: {wrong} wrong half bits named")
    for place, bit in enumerate(bits):
        browser.run(f"document.querySelectorAll('[data-digit]')[{place}].focus()")
        for _ in range(1 + int(bit)):
            browser.press("Enter")
    checks.that(said(browser).startswith("All bits are right"), f"{page.name}: bits: {said(browser)}")
    focus(browser, "byte")
    browser.call("Input.insertText", text=group["hex"].lower())
    press(browser, "check", "Enter")
    checks.that(said(browser).startswith("Right: " + group["hex"]), f"{page.name}: byte: {said(browser)}")


def decoding(browser, checks, page, live):
    """A byte of the lesson's number; with the program's code also one of another number, whose bits and CRC are those of `telegram`, and whose
    waveform lies where its half bits say."""
    press(browser, "next", "Enter")
    group = browser.run("shown.groups[1]")
    by_hand(browser, checks, page, group, browser.run(f"shown.halves.slice({2 * group['first']}, {2 * group['last'] + 2})"))
    if not live:
        checks.that(browser.run("document.getElementById('other').hidden"), f"{page.name}: other numbers are offered")
        return 1
    numbers = ["999:274877906943", "276:98100123456", "999:1"]
    for number in numbers:
        focus(browser, "number")
        browser.run("document.getElementById('number').select()")
        browser.call("Input.insertText", text=number)
        press(browser, "take", "Enter")
        there = native("telegram", number)
        shown = browser.run("shown")
        sent = "".join(group["bits"] + (group["control"] or "") for group in shown["groups"])
        checks.that(sent == there["bits"], f"{page.name}: {number}: bits {sent}")
        crc = "".join(group["hex"] for group in reversed(shown["groups"]) if group["name"].startswith("CRC"))
        checks.that(crc == there["crc_hex"] == shown["crc_hex"], f"{page.name}: {number}: CRC {crc}")
        level = [1 if half == "+" else -1 for half in shown["halves"]]
        along = [sign * shown["wave"][4 * k + 2] for k, sign in enumerate(level)]
        checks.that(min(along) > 0 or max(along) < 0, f"{page.name}: {number}: the waveform is not that of the number")
        checks.that(min(along) > 0, f"{page.name}: {number}: the waveform is upside down")
        checks.that(browser.run("document.getElementById('whose').textContent") == shown["id"], f"{page.name}: {number}")
    press(browser, "next", "Enter")
    group = browser.run("group")
    by_hand(browser, checks, page, group, browser.run(f"shown.halves.slice({2 * group['first']}, {2 * group['last'] + 2})"))
    focus(browser, "number")
    browser.run("document.getElementById('number').select()")
    browser.call("Input.insertText", text="999:x")
    press(browser, "take", "Enter")
    checks.that("999:x" in said(browser), f"{page.name}: a bad number: {said(browser)}")
    press(browser, "any", "Enter")
    checks.that(browser.run("shown.id").startswith("999 "), f"{page.name}: any number: {browser.run('shown.id')}")
    return len(numbers)


PLAYED = {"play-bench": bench, "play-folding": folding, "play-break": breaking, "play-decode": decoding}


def without_code(page):
    """The same page with its code spoilt, as in a browser that cannot run it."""
    other = page.with_name(f"{page.stem}-without.html")
    other.write_text(re.sub(r'(id="module">)[^<]*', r"\1", page.read_text()))
    return other


def play(browser, checks, folder):
    """Tries every page; returns how many with the program's code, and how many comparisons there were."""
    browser.size(1280)
    with_code = compared = 0
    for name, one in PLAYED.items():
        page = folder / f"{name}.html"
        held = 'id="module"' in page.read_text()
        source = opened(browser, page)
        if held:
            checks.that("own code, fieldripple" in source and "holds none" not in source, f"{page.name}: {source}")
            compared += one(browser, checks, page, True)
            with_code += 1
            page = without_code(page)
            source = opened(browser, page)
            checks.that("does not start" in source and ("when the page was written" in source or "on its own" in source), f"{page.name}: {source}")
        else:
            checks.that("holds none" in source, f"{page.name}: {source}")
        compared += one(browser, checks, page, False)
        if held:
            page.unlink()
    return with_code, compared

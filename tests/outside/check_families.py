"""Families of random captures at Eb/N0 = 18 dB through `fieldripple decode --json`: all read, none read wrong.

Options: --seed N, --trials N (each family), --only LETTERS, --trial N (that one alone), --keep FOLDER (leave the captures there).
"""

import argparse
import json
import os
import pathlib
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from families import FAMILIES

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")

# Mean errors allowed over a family. One capture of 0.1 s holds 420 bits: at 18 dB the ripple's amplitude is known to
# 1/sqrt(2 * 63 * 420) = 0.4 %, its angle to 0.25 degrees, Eb/N0 to some tenths of a dB (the noise estimate). The
# means below are several standard errors wide and leave room for a known small bias only.
EBN0_LIMIT_DB = 0.5
DEPTH_LIMIT = 0.02
ANGLE_LIMIT_DEG = 1.0
FIELD_LIMIT_HZ = 0.5
# A switched field's ring-up, ring-down and the tag's silence after it are not ripple; no one says how much of that a
# receiver has to keep out of its noise. These only catch a blunder.
PULSED_EBN0_LIMIT_DB = 4.0
PULSED_DEPTH_LIMIT = 0.06


def limits(case):
    """Allowed mean errors of Eb/N0 (dB) and depth. Sampling ideal edges folds their spectrum's tail back into the band.

    Load edges (each a jump of 2, 1.5 a bit on average) have the power density rate/(pi f)^2 beside the carrier: the share
    rate/pi^2/B lies further off than B on either side. What is folded is missing in the ripple and adds to the noise, as
    if white in this estimate; it is not quite, hence twice.
    """
    bench = case.bench
    if bench.pulses:
        return PULSED_EBN0_LIMIT_DB, PULSED_DEPTH_LIMIT
    edges_per_second = 1.5 * bench.field_hz / 32
    if bench.kind == "envelope":
        sides = (bench.rate_hz / 2, bench.rate_hz / 2)
    elif bench.kind == "iq":
        off = bench.field_hz - bench.centre_hz
        sides = (bench.rate_hz / 2 - off, bench.rate_hz / 2 + off)
    else:
        line = abs(bench.field_hz - bench.rate_hz * round(bench.field_hz / bench.rate_hz))
        sides = (line, bench.rate_hz / 2 - line)
    tail = edges_per_second / np.pi**2 * sum(1 / side for side in sides)
    bit_s = 32 / bench.field_hz
    band = bench.rate_hz * (0.5 if bench.kind == "envelope" else 1)
    noise = bit_s * band / 10 ** (bench.ebn0_db / 10) / (2 if bench.kind == "real" else 1)  # over r^2, r^2/2 if real
    fold_db = 10 * np.log10(1 + tail / noise) - 10 * np.log10(1 - tail)
    return EBN0_LIMIT_DB + 2 * fold_db, DEPTH_LIMIT + tail / 2


def decode(case):
    command = [PROGRAM, "decode", *case.files, *case.arguments, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    lines = []
    try:
        lines = [json.loads(line) for line in done.stdout.splitlines()]
    except json.JSONDecodeError:
        pass
    return done.returncode, lines, " ".join(command), done.stderr.strip()


def fields_of(number):
    return {
        "id": number.id,
        "country": number.country,
        "national": number.national,
        "animal": bool(number.animal),
        "retag": number.retag,
        "user": number.user,
        "reserved": number.reserved,
        "data_block": bool(number.data_block),
        "trailer": f"{number.trailer:06X}",
        "code_hex": f"{number.code:016X}",
        "crc_hex": f"{number.crc:04X}",
        "kind": "fdx-b",
    }


def judge(case, status, lines):
    """(read, wrong, complaint, errors) of one case."""
    readings = [reading for line in lines for reading in line["readings"]]
    verdicts = {line["verdict"] for line in lines}
    complaint, errors = "", {}
    if case.number is None:
        wrong = bool(readings)
        good = not wrong and status == 1 and verdicts == {"unread"}
        if case.field_present is not None and lines and lines[0]["field"]["present"] != case.field_present:
            good, complaint = False, f"field.present is {lines[0]['field']['present']}"
        return good, wrong, complaint or f"exit {status}, {readings}", errors
    wrong = any(reading["id"] != case.number.id for reading in readings)
    good = not wrong and bool(readings) and status == 0 and verdicts == {"read"}
    if not good:
        found = [line.get("findings") for line in lines]
        complaint = f"exit {status}, verdicts {verdicts}, ids {[r['id'] for r in readings]}, findings {found}"
        return good, wrong, complaint, errors
    for reading in readings:
        for name, value in fields_of(case.number).items():
            if name == "trailer" and reading[name] is None:
                continue  # pieces shorter than a telegram need not hold it: unknown is not wrong
            if str(reading[name]).lower() != str(value).lower():
                wrong, good, complaint = True, False, f"{name} is {reading[name]!r}, sent {value!r}"
    if case.kind and any(line["capture"]["kind"] != case.kind for line in lines):
        good, complaint = False, f"kind is {lines[0]['capture']['kind']}, not {case.kind}"
    if case.field_present is not None and not all(line["field"]["present"] for line in lines):
        good, complaint = False, "no field seen"
    reading = readings[0]
    if case.ebn0_db is not None:
        errors["ebn0_db"] = reading["ebn0_db"] - case.ebn0_db
    if case.depth is not None:
        errors["depth"] = reading["depth"] / case.depth - 1
    if case.angle_deg is not None:
        errors["angle_deg"] = (reading["angle_deg"] - case.angle_deg + 90) % 180 - 90
    if case.field_hz is not None:
        errors["field_hz"] = lines[0]["field"]["frequency_hz"] - case.field_hz
    return good, wrong, complaint, errors


def one(letter, trial, seed, keep):
    rng = np.random.default_rng([seed, ord(letter), trial])
    with tempfile.TemporaryDirectory(prefix="ripple-") as temporary:
        folder = pathlib.Path(keep or temporary) / (f"{letter}{trial}" if keep else ".")
        folder.mkdir(parents=True, exist_ok=True)
        case = FAMILIES[letter][1](rng, folder, trial)
        status, lines, command, stderr = decode(case)
    good, wrong, complaint, errors = judge(case, status, lines)
    text = "" if good else f"  {letter}{trial}: {complaint} {stderr}\n    {command}\n    {case.about}"
    return good, wrong, text, errors, limits(case) if case.bench else None


def mean_text(values, unit, scale=1.0):
    return "      -     " if not values else f"{scale * np.mean(values):+7.3f} {unit}"


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--trials", type=int, default=28)
    options.add_argument("--only", default="".join(FAMILIES))
    options.add_argument("--trial", type=int)
    options.add_argument("--keep")
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    chosen = options.parse_args()
    trials = range(chosen.trials) if chosen.trial is None else [chosen.trial]

    failed, total_read, total = [], 0, 0
    print("family                      read wrong total  Eb/N0 error  depth error  angle error  field error (rms)")
    for letter in chosen.only:
        name = FAMILIES[letter][0]
        with ThreadPoolExecutor(chosen.jobs) as pool:
            results = list(pool.map(lambda trial: one(letter, trial, chosen.seed, chosen.keep), trials))
        read, wrong = sum(r[0] for r in results), sum(r[1] for r in results)
        errors = {key: [r[3][key] for r in results if key in r[3]] for key in ("ebn0_db", "depth", "angle_deg", "field_hz")}
        field_rms = f"{np.sqrt(np.mean(np.square(errors['field_hz']))):.4f} Hz" if errors["field_hz"] else "-"
        print(
            f"{letter} {name:24} {read:5} {wrong:5} {len(results):5}   {mean_text(errors['ebn0_db'], 'dB')}  "
            f"{mean_text(errors['depth'], '%  ', 100)} {mean_text(errors['angle_deg'], 'deg')}   {field_rms}",
            flush=True,
        )
        for result in results:
            if result[2]:
                print(result[2])
        if read < len(results) or wrong:
            failed.append(f"{letter} (reading)")
        allowed = {"angle_deg": ANGLE_LIMIT_DEG, "field_hz": FIELD_LIMIT_HZ}
        if errors["ebn0_db"]:
            allowed["ebn0_db"], allowed["depth"] = np.mean([r[4] for r in results if r[4]], axis=0)
        for key, limit in allowed.items():
            if len(results) >= 10 and errors[key] and abs(np.mean(errors[key])) > limit:
                failed.append(f"{letter} ({key} off by {np.mean(errors[key]):+.3f}, allowed {limit:.3f})")
        total_read, total = total_read + read, total + len(results)
    print(f"{total_read} of {total} captures as they should be; " + ("failed: " + ", ".join(failed) if failed else "all families hold"))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

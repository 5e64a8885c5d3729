"""A capture and the same samples as a stream: what `decode FILE` reads with something to spare, `decode - --follow` has told by the end,
whatever the length, though it sees no more than a second at a time; and it tells no number that nobody sent.

Weak tags, one a capture, in captures shorter than one look of the stream, longer than one, and longer than the file's own window. A
stream asks more of its later looks than a file does of its one: that is what a file must have to spare here.

Options: --captures N of each length, --seed N.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from fdxb import FIELD_HZ, Bench, Number, Tag, ripple_capture
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000.0
TELEGRAM_CYCLES = 4096
# Seconds, and what the file must have to spare, dB. The look number n asks for odds n^2 times better: of 13 that are 2.2 powers of ten.
# A bound on the odds falls by one power of ten with every 0.35 dB at least (odds go with exp(-d^2/2 * Eb/N0), here at 1e-5 and worse).
LENGTHS = ((0.2, 0.5), (0.55, 0.5), (1.7, 1.0), (5.3, 1.0), (13.4, 1.5))
# Of what is asked for in the whole capture, from just below the limit to well above it.
FOLDED_DB = (3.5, 9.0)


def capture(seconds, rng, folder):
    tag = Tag(
        Number(national=int(rng.integers(1, 2**38))), depth=0.01, angle_deg=rng.uniform(-90, 90), start_cycles=rng.uniform(0, TELEGRAM_CYCLES)
    )
    bench = Bench(
        rate_hz=RATE_HZ, seconds=seconds, field_hz=FIELD_HZ + rng.uniform(-20, 20), phase_deg=rng.uniform(0, 360),
        ebn0_db=rng.uniform(*FOLDED_DB) - 10 * np.log10(seconds * FIELD_HZ / TELEGRAM_CYCLES),
    )  # fmt: skip
    path = folder / "capture.npy"
    np.save(path, ripple_capture(bench, tag, rng).samples.astype(np.float32))
    return path, tag.number.id


def of_file(path):
    done = subprocess.run([PROGRAM, "decode", path, "--rate", str(RATE_HZ), "--json"], capture_output=True, text=True)
    return {reading["id"]: reading["spare_db"] for reading in json.loads(done.stdout)["readings"]}


def of_stream(path):
    with open(path, "rb") as samples:
        done = subprocess.run([PROGRAM, "decode", "-", "--rate", str(RATE_HZ), "--follow", "--json"], stdin=samples, capture_output=True, text=True)
    events = [json.loads(line) for line in done.stdout.splitlines()]
    told = {event["id"] for event in events if event["event"] == "number-read"}
    summed = {number["id"] for number in events[-1]["numbers"]}
    ended = [event for event in events if event["event"] == "visit-ended"]
    return told, summed, ended, done.returncode


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--captures", type=int, default=5)
    options.add_argument("--seed", type=int, default=7100)
    chosen = options.parse_args()
    checks = Checks()
    with tempfile.TemporaryDirectory(prefix="streams-") as folder:
        for seconds, spared_db in LENGTHS:
            by_file = by_stream = sure = 0
            for count in range(chosen.captures):
                path, sent = capture(seconds, np.random.default_rng([chosen.seed, count, int(1000 * seconds)]), Path(folder))
                spare_db = of_file(path)
                told, summed, visits, status = of_stream(path)
                about = f"{seconds:g} s, capture {count}"
                checks.that(told <= {sent} and set(spare_db) <= {sent}, f"{about}: told {told}, read {set(spare_db)}, sent {sent}")
                checks.that(summed == told, f"{about}: summed up {summed}, told {told}")
                checks.that(status == (0 if told else 1), f"{about}: exit {status} of {len(told)} numbers")
                checks.that(len(visits) == len(told), f"{about}: {len(visits)} visits of {len(told)} numbers")
                checks.that(all(0 <= one["from_s"] < one["to_s"] <= seconds + 1e-6 for one in visits), f"{about}: {visits}")
                by_file += bool(spare_db)
                by_stream += bool(told)
                if spare_db.get(sent, -1) >= spared_db:
                    sure += 1
                    checks.that(sent in told, f"{about}: not told, with {spare_db[sent]:.2f} dB to spare as a file")
            print(f"{seconds:g} s: of {chosen.captures} the file reads {by_file}, the stream {by_stream}; {sure} with {spared_db} dB to spare")
    sys.exit(checks.end())


if __name__ == "__main__":
    main()

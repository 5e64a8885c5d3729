"""`decode --table` on captures from far below the limit of reading to far above: one signed margin for all of them.

A capture of Eb/N0 = g with n telegrams is half read where g + 10 log10 n = 3.0 dB (exact sum over CRC register x sign), so its margin is
g + 10 log10 n - 3.0. Where a margin is stated it must lie within three stated deviations and 0.5 dB of that in 95 of 100 captures; what was
read has 0 dB at least, what was not 0 dB at most; and the mean over captures rises with Eb/N0 all the way.
"""

import csv
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from fdxb import FIELD_HZ, TELEGRAM_CYCLES, Bench, random_tag, ripple_capture
from report import Checks
from writers import wav

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000.0
HALF_READ_DB = 3.0
MARGINS_DB = (-5.0, -3.5, -2.0, -0.7, 0.7, 2.0, 4.0, 8.0, 14.0)
CAPTURES = 12


def main():
    checks = Checks()
    within = stated = 0
    for seconds in (0.13, 0.5):
        telegrams = seconds * FIELD_HZ / TELEGRAM_CYCLES
        means = []
        for margin_db in MARGINS_DB:
            ebn0_db = margin_db + HALF_READ_DB - 10 * np.log10(telegrams)
            with tempfile.TemporaryDirectory() as folder:
                for index in range(CAPTURES):
                    rng = np.random.default_rng((17, int(1000 * seconds), int(10 * (margin_db + 50)), index))
                    bench = Bench(rate_hz=RATE_HZ, seconds=seconds, ebn0_db=ebn0_db, phase_deg=float(rng.uniform(0, 360)), field_hz=FIELD_HZ + float(rng.uniform(-20, 20)))
                    tag = random_tag(rng, depth=0.002)
                    wav(Path(folder) / f"{index:02}.wav", ripple_capture(bench, tag, rng).samples, RATE_HZ, full=1.5)
                table = Path(folder) / "table.csv"
                subprocess.run([PROGRAM, "decode", folder, "--brief", "--table", table], capture_output=True)
                with open(table, newline="") as text:
                    rows = list(csv.DictReader(text))
            checks.that(len(rows) == CAPTURES, f"{len(rows)} rows")
            found = []
            for row in rows:
                if row["margin_db"] == "":
                    checks.that(row["verdict"] == "unread", f"read without a margin: {row}")
                    continue
                value, deviation = float(row["margin_db"]), float(row["margin_deviation_db"])
                checks.that(value >= 0 if row["verdict"] == "read" else value <= 0, f"{row['verdict']} with {value} dB")
                stated += 1
                within += abs(value - margin_db) <= 3 * deviation + 0.5
                found.append(value)
            means.append(np.mean(found) if found else None)
            if margin_db >= 4.0 or margin_db <= -5.0:
                read = sum(row["verdict"] == "read" for row in rows)
                checks.that(read == (CAPTURES if margin_db > 0 else 0), f"{seconds} s at {margin_db} dB: {read} of {CAPTURES} read")
        print(f"{seconds} s: made {MARGINS_DB}, stated {[None if m is None else round(float(m), 1) for m in means]}", flush=True)
        known = [mean for mean in means if mean is not None]
        checks.that(all(a < b for a, b in zip(known, known[1:])), f"{seconds} s: means do not rise: {known}")
    checks.that(within >= 0.95 * stated, f"{within} of {stated} margins within three deviations and 0.5 dB")
    print(f"{within} of {stated} margins within three deviations and 0.5 dB", flush=True)
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

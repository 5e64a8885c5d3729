"""Whether the standard deviations stated for depth, angle, Eb/N0 and decibels to spare are those by which independent captures of one bench
stray: numpy makes the captures, each with noise of its own and everything else the same. Their scatter about their mean, in deviations as
stated, has a root mean square between 0.8 and 1.25 in each kind of capture (1 where a statement is exact; of 200 captures the root mean square
itself strays by 5 %, so that an honest statement lies inside by four of its deviations).

The mean itself, which no deviation by chance is about, lies within one deviation of what the bench was made with, or within 0.5 % of the depth,
0.5 degrees, 0.1 dB where that is wider. What there is to spare was not made with any value. Options: --seed N, --trials N.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from fdxb import Bench, random_tag, ripple_capture
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000.0
DEPTH = 0.01
# Seconds, dB: near the limit of a short and of a long capture, and well above it.
KINDS = ((0.1, 3.0), (0.1, 10.0), (0.25, 0.0), (0.25, 15.0), (1.0, -6.0), (1.0, 6.0))
LEAST, MOST = 0.8, 1.25
LEAST_READ = 0.9


def one(kind, seed, trial, tag, field_hz):
    """What is told of the tag, or None where it was not read."""
    seconds, ebn0_db = kind
    rng = np.random.default_rng([seed, trial, int(1000 * seconds), int(10 * ebn0_db) + 1000])
    bench = Bench(rate_hz=RATE_HZ, seconds=seconds, field_hz=field_hz, ebn0_db=ebn0_db, phase_deg=30.0)
    capture = ripple_capture(bench, tag, rng)
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        path = Path(folder) / "capture.npy"
        np.save(path, capture.samples.astype(np.float32))
        command = [PROGRAM, "decode", str(path), "--rate", str(RATE_HZ), "--json"]
        done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    return next((r for r in json.loads(done.stdout)["readings"] if r["id"] == tag.number.id), None)


def errors_of(readings, tag, ebn0_db):
    """By name: errors, deviations stated, and what a mean error may be beside them; no error where nothing is known."""

    def all_of(key):
        return np.array([reading[key] for reading in readings])

    turned = all_of("angle_deg") - tag.angle_deg
    spare = all_of("spare_db")
    return {
        "depth": (all_of("depth") - DEPTH, all_of("depth_deviation"), 0.005 * DEPTH),
        "angle": (turned - 180 * np.round(turned / 180), all_of("angle_deviation_deg"), 0.5),
        "Eb/N0": (all_of("ebn0_db") - ebn0_db, all_of("ebn0_deviation_db"), 0.1),
        "to spare": (spare - np.mean(spare), all_of("spare_deviation_db"), 0.0),
    }


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--trials", type=int, default=200)
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    chosen = options.parse_args()
    checks = Checks()
    for kind in KINDS:
        rng = np.random.default_rng([chosen.seed, int(1000 * kind[0])])
        tag = random_tag(rng, depth=DEPTH)
        field_hz = float(134_200 + rng.uniform(-300, 300))
        with ThreadPoolExecutor(chosen.jobs) as pool:
            told = list(pool.map(lambda trial: one(kind, chosen.seed, trial, tag, field_hz), range(chosen.trials)))
        read = [reading for reading in told if reading]
        about = f"{kind[0]:5} s at {kind[1]:5.1f} dB"
        if not checks.that(len(read) >= LEAST_READ * len(told), f"{about}: {len(read)} of {len(told)} read"):
            continue
        for name, (errors, stated, allowed) in errors_of(read, tag, kind[1]).items():
            mean = float(np.mean(errors))
            rms = float(np.sqrt(np.mean(((errors - mean) / stated) ** 2)))
            print(f"{about}  {name:10} strays {rms:.2f} of what is stated; mean error {mean / np.mean(stated):+.2f}; {len(read)} captures", flush=True)
            checks.that(LEAST <= rms <= MOST, f"{about}: {name} strays {rms:.2f} times as far as stated")
            checks.that(abs(mean) <= max(np.mean(stated), allowed), f"{about}: {name} is off by {mean:.2g} in the mean")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

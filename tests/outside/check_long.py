"""Long captures: what a number has to spare is so. A capture of a tag far below what one window of the record bears is read where it is
half a decibel stronger than told and is not where it is half a decibel weaker, each half of the time or more; 12 s are two windows of the
receiver, 40 s seven.

What is allowed is the binomial's: a share of one half gives a count beyond the one asked for in one run of a thousand.

    FIELDRIPPLE=target/release/fieldripple python tests/outside/check_long.py --seconds 12,40 --trials 40 --jobs 2

takes an hour or two; as it stands, 12 s and 12 trials: with less than ten the counts could not fail.
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
from scipy.stats import binom

from fdxb import FIELD_HZ, Bench, Number, Tag, ripple_capture
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000.0
TELEGRAM_CYCLES = 4096
# Folded over the whole record, of what is asked what it has to spare: of 12 s no telegram alone comes near.
FOLDED_DB = 10.0
BESIDE_DB = 0.5
SURPRISE = 1e-3


def decoded(seconds, number, folded_db, seed):
    """What the program says of a random tag's record; the noise is the seed's."""
    rng = np.random.default_rng([4, number])
    tag = Tag(Number(national=number), depth=0.01, angle_deg=rng.uniform(-90, 90), start_cycles=rng.uniform(0, TELEGRAM_CYCLES))
    telegrams = seconds * FIELD_HZ / TELEGRAM_CYCLES
    bench = Bench(
        rate_hz=RATE_HZ, seconds=seconds, field_hz=FIELD_HZ + rng.uniform(-10, 10), phase_deg=rng.uniform(0, 360),
        ebn0_db=folded_db - 10 * np.log10(telegrams),
    )  # fmt: skip
    capture = ripple_capture(bench, tag, np.random.default_rng([seed, number]))
    with tempfile.TemporaryDirectory(prefix="long-") as folder:
        path = Path(folder) / "capture.npy"
        np.save(path, capture.samples.astype(np.float32))
        del capture
        done = subprocess.run([PROGRAM, "decode", str(path), "--rate", str(RATE_HZ), "--json"], capture_output=True, text=True)
    return json.loads(done.stdout)


def trial(seconds, seed, count):
    """What is told to be spared, and whether the number is read half a decibel above and below; `None` for a number nobody sent."""
    number = int(np.random.default_rng([seed, count]).integers(1, 2**38))

    def own(answer):
        return [reading for reading in answer["readings"] if reading["national"] == number and reading["country"] == 999]

    told = decoded(seconds, number, FOLDED_DB, seed)
    if not own(told):
        return None, (), len(told["readings"])
    spare_db = own(told)[0]["spare_db"]
    at = [decoded(seconds, number, FOLDED_DB - spare_db + beside, seed + 1 + place) for place, beside in enumerate((BESIDE_DB, -BESIDE_DB))]
    wrong = sum(len(answer["readings"]) - len(own(answer)) for answer in (told, *at))
    return spare_db, tuple(bool(own(answer)) for answer in at), wrong


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--seconds", default="12")
    options.add_argument("--trials", type=int, default=12)
    options.add_argument("--seed", type=int, default=1500)
    options.add_argument("--jobs", type=int, default=1)
    chosen = options.parse_args()
    checks = Checks()
    for seconds in map(float, chosen.seconds.split(",")):
        with ThreadPoolExecutor(chosen.jobs) as pool:
            rows = list(pool.map(lambda count: trial(seconds, chosen.seed, count), range(chosen.trials)))
        spares = [spare for spare, *_ in rows if spare is not None]
        checks.that(len(spares) == chosen.trials, f"{seconds:g} s at {FOLDED_DB:g} dB folded: {len(spares)} of {chosen.trials} read")
        checks.that(not any(wrong for *_, wrong in rows), f"{seconds:g} s: numbers that nobody sent: {rows}")
        above, below = (sum(read[place] for _, read, _ in rows if read) for place in (0, 1))
        least, most = binom.ppf(SURPRISE, len(spares), 0.5), binom.isf(SURPRISE, len(spares), 0.5)
        print(
            f"{seconds:g} s: {np.mean(spares):.2f} dB to spare ({np.std(spares):.2f}); {above} of {len(spares)} read {BESIDE_DB} dB above"
            f" what that makes the limit, {below} {BESIDE_DB} dB below"
        )
        checks.that(above >= least, f"{seconds:g} s, {BESIDE_DB} dB above: {above} read, at least {least:.0f}")
        checks.that(below <= most, f"{seconds:g} s, {BESIDE_DB} dB below: {below} read, at most {most:.0f}")
    sys.exit(checks.end())


if __name__ == "__main__":
    main()

"""Frequency, depth, angle and Eb/N0 as reported for a tag at Eb/N0 6 dB, against what the capture was made with.

Each must lie within three standard deviations of its bound, or depth 5 %, angle 3 degrees, Eb/N0 0.5 dB where that is wider, in
99 of 100 captures. Bounds: the frequency of one real tone by Rife & Boorstyn, IEEE Trans. Inf. Theory 20 (1974), where the ripple
is noise to it; a complex amplitude known but for its value, seen in N pulses of a bit's energy, has 1/sqrt(2 N Eb/N0) of itself as
the deviation of either part (textbook). The same of fields that drift, as they do where coil and capacitor make the frequency; the
frequency is not asked of those. The noise beside it is measured too, as the mean square of both parts of what such pulses see
in the rest of the capture. Options: --seed N, --trials N (each length).
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

from check_field import bound_hz
from fdxb import CYCLES_PER_BIT, FIELD_HZ, Bench, random_tag, ripple_capture
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000.0
DEPTH = 0.01
EBN0_DB = 6.0
LENGTHS_S = (0.07, 0.25, 1.0)
# Seconds and Hz over them: from less than is told as a drift to more than any oscillator warms up by (common practice, no source).
DRIFTS = ((0.25, 4.0), (0.25, -9.0), (0.25, 60.0), (0.25, -400.0), (1.0, 30.0))
LEAST_SHARE = 0.99

# Bits that noise seen through a bit's pulse (-1 for half a bit, then +1) remembers: the integral of its squared autocorrelation. A mean
# square of two parts over T bits then has T / PULSE_MEMORY independent values, and sqrt(PULSE_MEMORY / T) of itself as the deviation.
PULSE = np.repeat([-1.0, 1.0], 500)
PULSE_MEMORY = float(np.sum((np.correlate(PULSE, PULSE, "full") / PULSE.size) ** 2) / PULSE.size)


def one(seconds, drift_hz, seed, trial):
    """Errors as multiples of what is allowed, by name; None where the number was not read."""
    rng = np.random.default_rng([seed, trial, int(1000 * seconds)])
    tag = random_tag(rng, depth=DEPTH)
    field_hz = float(FIELD_HZ + rng.uniform(-300, 300))
    phase_deg = float(rng.uniform(0, 360))
    bench = Bench(rate_hz=RATE_HZ, seconds=seconds, field_hz=field_hz, drift_hz=drift_hz, ebn0_db=EBN0_DB, phase_deg=phase_deg)
    capture = ripple_capture(bench, tag, rng)
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        path = Path(folder) / "capture.npy"
        np.save(path, capture.samples.astype(np.float32))
        command = [PROGRAM, "decode", str(path), "--rate", str(RATE_HZ), "--json"]
        done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    told = json.loads(done.stdout)
    reading = next((r for r in told["readings"] if r["id"] == tag.number.id), None)
    if reading is None:
        return None
    bits = seconds * field_hz / CYCLES_PER_BIT
    part = 1 / np.sqrt(2 * bits * 10 ** (EBN0_DB / 10))
    ebn0_part = np.hypot(2 * part, np.sqrt(PULSE_MEMORY / bits))
    turned = reading["angle_deg"] - tag.angle_deg
    frequency = (told["field"]["frequency_hz"] - field_hz) / (3 * bound_hz(RATE_HZ, capture.samples.size, 1.0, capture.sigma))
    return {
        **({} if drift_hz else {"frequency": frequency}),
        "depth": (reading["depth"] / DEPTH - 1) / max(3 * part, 0.05),
        "angle": (turned - 180 * np.round(turned / 180)) / max(3 * np.degrees(part), 3.0),
        "Eb/N0": (reading["ebn0_db"] - EBN0_DB) / max(3 * 10 * np.log10(1 + ebn0_part), 0.5),
    }


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--trials", type=int, default=40)
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    chosen = options.parse_args()
    checks = Checks()
    for seconds, drift_hz in [(seconds, 0.0) for seconds in LENGTHS_S] + list(DRIFTS):
        about = f"{seconds:5} s" + (f", {drift_hz:+.0f} Hz" if drift_hz else "")
        with ThreadPoolExecutor(chosen.jobs) as pool:
            told = list(pool.map(lambda trial: one(seconds, drift_hz, chosen.seed, trial), range(chosen.trials)))
        read = [errors for errors in told if errors is not None]
        checks.that(len(read) >= LEAST_SHARE * len(told), f"{about}: {len(read)} of {len(told)} read")
        for name in read[0]:
            errors = np.array([errors[name] for errors in read])
            inside = int(np.sum(np.abs(errors) <= 1))
            print(f"{about:15}  {name:10} rms {np.sqrt(np.mean(errors**2)):.2f} of what is allowed, {inside} of {len(read)} inside", flush=True)
            # More outside than 1 in 100 makes likely but for one time in a thousand.
            most_outside = binom.ppf(0.999, len(read), 1 - LEAST_SHARE)
            checks.that(len(read) - inside <= most_outside, f"{about}: {name} in {inside} of {len(read)}")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

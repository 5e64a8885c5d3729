"""The reported field frequency against the Cramer-Rao bound of one real tone, over many noisy captures of a field without a tag.

Rife & Boorstyn, IEEE Trans. Inf. Theory 20 (1974), give var w >= 12 s^2 / (b^2 T^2 N (N^2-1)) for a complex tone with
variance s^2 per quadrature; a real tone with s^2 per sample has twice that. Options: --seed N, --trials N.
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

import writers
from fdxb import FIELD_HZ, Bench, ripple_capture
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")

# Name, rate, seconds, amplitude, noise per sample.
CASES = (
    ("500 kS/s, 20 ms, 26 dB", 500_000.0, 0.020, 1.0, 0.05),
    ("500 kS/s, 50 ms, 46 dB", 500_000.0, 0.050, 2.0, 0.01),
    ("1 MS/s, 20 ms, 11 dB", 1_000_000.0, 0.020, 0.7, 0.2),
    ("100 kS/s folded, 0.1 s, 26 dB", 100_000.0, 0.100, 1.0, 0.05),
    ("192 kS/s folded, 0.1 s, 26 dB", 192_000.0, 0.100, 1.0, 0.05),
)


def bound_hz(rate_hz, count, amplitude, sigma):
    """Smallest standard deviation of the frequency, hertz."""
    spacing = 1 / rate_hz
    variance = 24 * sigma**2 / (amplitude**2 * spacing**2 * count * (count**2 - 1.0))
    return np.sqrt(variance) / (2 * np.pi)


def one(case, seed, trial):
    """Error of the reported frequency in hertz (None: no field seen) and what was reported."""
    _, rate, seconds, amplitude, sigma = case
    rng = np.random.default_rng([seed, trial])
    field_hz = float(FIELD_HZ + rng.uniform(-200, 200))
    phase = float(rng.uniform(0, 360))
    bench = Bench(rate_hz=rate, seconds=seconds, field_hz=field_hz, amplitude=amplitude, phase_deg=phase, noise_sigma=sigma)
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        path = pathlib.Path(folder) / "field.npy"
        writers.npy(path, ripple_capture(bench, (), rng).samples)
        command = [PROGRAM, "decode", str(path), "--rate", str(rate), "--json"]
        done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    told = json.loads(done.stdout.splitlines()[0])
    hertz, volts = told["field"]["frequency_hz"], told["field"]["amplitude"]
    return None if hertz is None else hertz - field_hz, volts, len(told["readings"])


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seed", type=int, default=2)
    options.add_argument("--trials", type=int, default=250)
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    chosen = options.parse_args()
    checks = Checks()
    for place, case in enumerate(CASES):
        name, rate, seconds, amplitude, sigma = case
        with ThreadPoolExecutor(chosen.jobs) as pool:
            told = list(pool.map(lambda trial: one(case, chosen.seed + place, trial), range(chosen.trials)))
        checks.that(all(error is not None for error, _, _ in told), f"{name}: a field is reported in every capture")
        checks.that(all(count == 0 for _, _, count in told), f"{name}: no number is reported")
        errors = np.array([error for error, _, _ in told if error is not None])
        count = int(round(rate * seconds))
        bound = bound_hz(rate, count, amplitude, sigma)
        above_db = 10 * np.log10(np.mean(errors**2) / bound**2)
        print(f"{name:32} bound {bound:.6f} Hz, rms error {np.sqrt(np.mean(errors**2)):.6f} Hz: {above_db:+.2f} dB", flush=True)
        # 250 captures know a variance to sqrt(2/250), 0.39 dB: 1 dB leaves two and a half of these, on either side.
        checks.that(above_db < 1.0, f"{name}: variance within 1 dB of the bound, is {above_db:+.2f} dB")
        checks.that(above_db > -1.0, f"{name}: variance not below what is possible, is {above_db:+.2f} dB")
        # Amplitude: standard deviation sigma * sqrt(2/N) for a real tone; the mean over all trials within five of its own.
        volts = np.array([volts for _, volts, _ in told if volts is not None])
        spread = sigma * np.sqrt(2 / count / max(1, volts.size))
        checks.near(volts.mean(), amplitude, 5 * spread + 1e-6, f"{name}: mean amplitude")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

"""`decode --export`: the arrays, loaded by numpy and pandas, are the capture's: field, ripple, mean telegram, bits, spectrum; and the
README's notebook runs on what the README's command wrote.

Within: amplitude 1 %, instants a cycle in a hundred, bits exact; the mean telegram's load states within five standard errors of the mean
of 4096/2 values at the folded Eb/N0 (20 dB in a telegram), and 1 % for what the receiver's band takes of the middle of a half bit.
"""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pandas

from fdxb import FIELD_HZ, Bench, half_bit_states, random_tag, ripple_capture, telegram_bits
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
ROOT = Path(__file__).resolve().parents[2]
RATE_HZ = 500_000.0


def exported(folder, samples, name):
    np.save(folder / "capture.npy", samples.astype(np.float32))
    command = [PROGRAM, "decode", str(folder / "capture.npy"), "--rate", str(RATE_HZ), "--brief", "--export", str(folder / name)]
    return subprocess.run(command, capture_output=True, text=True)


def main():
    checks = Checks()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        for index in range(12):
            rng = np.random.default_rng((41, index))
            depth, seconds, amplitude = 10 ** rng.uniform(-2.5, -1.5), rng.uniform(0.08, 0.3), rng.uniform(0.1, 5)
            field_hz = FIELD_HZ + rng.uniform(-20, 20)
            tag = random_tag(rng, depth=depth, bandwidth_hz=None, detune_hz=0.0)
            bench = Bench(rate_hz=RATE_HZ, seconds=seconds, ebn0_db=20.0, amplitude=amplitude, field_hz=field_hz, phase_deg=float(rng.uniform(0, 360)))
            samples = ripple_capture(bench, tag, rng).samples
            about = f"capture {index}"
            ran = exported(folder, samples, "arrays.npz")
            if not checks.that(ran.returncode == 0, f"{about}: {ran.stdout} {ran.stderr}"):
                continue
            arrays = dict(np.load(folder / "arrays.npz"))
            exported(folder, samples, "arrays.csv")
            table = pandas.read_csv(folder / "arrays.csv")
            for name, values in arrays.items():
                columns = [table[f"{name}_re"] + 1j * table[f"{name}_im"]] if np.iscomplexobj(values) else [table[name]]
                same = np.allclose(columns[0].dropna().to_numpy(), values, rtol=1e-6, atol=0)
                checks.that(same, f"{about}: {name} is another in the table")
            checks.near(np.abs(arrays["field"]).mean(), amplitude, 0.01 * amplitude, f"{about}: field")
            times = arrays["field_time_s"]
            checks.near(np.diff(times).mean() * field_hz, 1.0, 1e-4, f"{about}: one value a cycle")
            checks.that(0 <= times[0] and times[-1] < seconds and np.ptp(times) > 0.98 * seconds, f"{about}: {times[0]} to {times[-1]} of {seconds}")
            checks.that((arrays["bits"] == telegram_bits(tag.number)).all(), f"{about}: bits")
            states = half_bit_states(telegram_bits(tag.number))[0]
            shown = arrays["load_states"] * states[0] * arrays["load_states"][0]
            checks.that((shown == states).all(), f"{about}: load states")
            halves = arrays["telegram"].reshape(256, 16)[:, 4:12].mean(axis=1)
            error = depth / np.sqrt(2 * 128 * 100 * seconds * field_hz / 4096)
            checks.near((halves.real * arrays["load_states"]).mean(), depth, 5 * error + 0.01 * depth, f"{about}: depth of the mean telegram")
            checks.near((halves.imag * arrays["load_states"]).mean(), 0, 5 * error + 0.01 * depth, f"{about}: across the ripple's axis")
            checks.that(arrays["ripple"].size == arrays["ripple_time_s"].size and abs(arrays["ripple"].mean()) < depth, f"{about}: ripple")
            checks.near(arrays["spectrum_db"].max(), 0, 0.1, f"{about}: the field's line")
            checks.near(arrays["spectrum_offset_hz"][arrays["spectrum_db"].argmax()], 0, 40, f"{about}: its place")
        silent = exported(folder, np.zeros(1000), "none.npz")
        checks.that(silent.returncode == 2 and "nothing to export" in silent.stderr and not (folder / "none.npz").exists(), f"silence: {silent}")
        subprocess.run([PROGRAM, "decode", str(ROOT / "waveforms/intake-clean.wav"), "--export", "intake.npz"], cwd=folder, check=True, capture_output=True)
        blocks = [rest.split("```")[0] for rest in (ROOT / "README.md").read_text().split("```python\n")[1:]]
        (notebook,) = [block for block in blocks if 'np.load("intake.npz")' in block]
        told = subprocess.run([sys.executable, "-c", notebook], cwd=folder, check=True, capture_output=True, text=True).stdout
        print(told, end="")
        checks.that("depth 0.99%" in told or "depth 1.00%" in told, "the notebook's depth is 1 %")
        checks.that("bits 00000000001" in told, "the notebook shows the header")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

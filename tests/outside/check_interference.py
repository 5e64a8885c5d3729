"""Tags under interference through `fieldripple decode --json`: ripple 1 % of the field, Eb/N0 5 dB, 0.5 s at 500 kS/s.

The interferers are made here, in numpy, sample by sample. Options: --seed N, --trials N (each row), --only TEXT (rows that
contain it), --offsets N (every Nth offset of a second reader).
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

from fdxb import FIELD_HZ, Bench, random_tag, ripple_capture

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000.0
SECONDS = 0.5
DEPTH = 0.01
LEAST_SHARE = 0.95
OFFSETS_HZ = (37.0, 113.0, 300.0, 571.0, 1234.5, 1900.0, 2718.3, 3400.0)


def gate(times, on_s, off_s, tau_s, lead_s):
    """An antenna switched on and off: 0..1."""
    since = np.mod(times + lead_s, on_s + off_s)
    up = 1 - np.exp(-since / tau_s)
    return np.where(since < on_s, up, np.exp(-(since - on_s) / tau_s))


def second_reader(level_db, offset_hz, pulsing):
    def add(times, rng):
        level = 10 ** (level_db / 20)
        if pulsing:
            level = level * gate(times, 0.050, 0.020, 0.0002, rng.uniform(0, 0.07))
        return level * np.cos(2 * np.pi * (FIELD_HZ + offset_hz) * times + rng.uniform(0, 2 * np.pi))

    return add


def supply(kind, near_hz):
    """A square-like wave whose third harmonic falls `near_hz` from the field; harmonics fall with 1/k from 0.3 of the field."""

    def add(times, rng):
        base_hz = (FIELD_HZ + near_hz) / 3
        cycles = base_hz * times
        if kind == "jittered":  # each period's length varies by 2e-4 of itself
            periods = int(cycles[-1]) + 2
            edges = np.concatenate([[0], np.cumsum((1 + 2e-4 * rng.standard_normal(periods)) / base_hz)])
            cycles = np.interp(times, edges, np.arange(periods + 1))
        elif kind == "drifting":  # 1e-3 over the record
            cycles = base_hz * (times + 0.5e-3 * times**2 / times[-1])
        phase = rng.uniform(0, 2 * np.pi, 9)
        wave = sum(0.3 / k * np.cos(2 * np.pi * k * cycles + phase[k]) for k in range(1, 9))
        if kind == "bursts":  # a converter that works near the crests of 50 Hz mains
            wave = wave * (np.mod(times + rng.uniform(0, 0.01), 0.01) < 0.004)
        return wave

    return add


def fsk(centre_hz):
    """200 Bd, +-170 Hz, five times the ripple."""

    def add(times, rng):
        symbols = rng.integers(0, 2, int(times[-1] * 200) + 2)
        frequency = centre_hz + np.where(symbols[(times * 200).astype(int)] == 1, 170.0, -170.0)
        return 5 * DEPTH * np.cos(2 * np.pi * np.cumsum(frequency) / RATE_HZ + rng.uniform(0, 2 * np.pi))

    return add


def hum(times, rng):
    return 2.0 * np.sin(2 * np.pi * 50 * times + rng.uniform(0, 2 * np.pi)) + 0.4 * np.sin(2 * np.pi * 150 * times)


def impulses(times, rng):
    """200 of five times the field, each a few microseconds of ringing."""
    wave = np.zeros(times.size)
    for place in rng.integers(0, times.size - 20, 200):
        k = np.arange(20)
        wave[place : place + 20] += 5 * rng.choice((-1, 1)) * np.exp(-k / 3) * np.cos(0.9 * k)
    return wave


def pink(times, rng):
    """Noise falling with 1/f, as strong at 134 kHz as the white noise of Eb/N0 8 dB."""
    bit_energy = DEPTH**2 * 32 / FIELD_HZ / 2
    density = bit_energy / 10**0.8
    spectrum = np.fft.rfft(rng.standard_normal(times.size) * np.sqrt(density * RATE_HZ / 2))
    frequency = np.fft.rfftfreq(times.size, 1 / RATE_HZ)
    frequency[0] = frequency[1]
    return np.fft.irfft(spectrum * np.sqrt(FIELD_HZ / frequency), times.size)


def rows(every):
    offsets = OFFSETS_HZ[::every]
    for pulsing in (False, True):
        for level_db in (-40, -26, -10, 0, 10):
            for offset_hz in offsets:
                for sign in (1, -1):
                    name = "pulsing" if pulsing else "steady"
                    yield f"second reader {name} {level_db:+d} dB {sign * offset_hz:+.1f} Hz", second_reader(level_db, sign * offset_hz, pulsing)
    for kind in ("exact", "jittered", "drifting", "bursts"):
        for near_hz in (-460.0, -120.0, 35.0, 250.0):
            yield f"supply {kind} {near_hz:+.0f} Hz", supply(kind, near_hz)
    for centre_hz in (129_100.0, 135_600.0, 139_000.0):
        yield f"FSK {centre_hz / 1e3:.1f} kHz", fsk(centre_hz)
    yield "hum", hum
    yield "impulses", impulses
    yield "pink noise", pink


def one(name, interferer, trial, seed):
    rng = np.random.default_rng([seed, trial, *name.encode()])
    tag = random_tag(rng, depth=DEPTH)
    bench = Bench(rate_hz=RATE_HZ, seconds=SECONDS, ebn0_db=5.0, phase_deg=float(rng.uniform(0, 360)))
    samples = ripple_capture(bench, tag, rng).samples
    samples = samples + interferer(np.arange(samples.size) / RATE_HZ, rng)
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        path = Path(folder) / "capture.npy"
        np.save(path, samples.astype(np.float32))
        command = [PROGRAM, "decode", str(path), "--rate", str(RATE_HZ), "--json"]
        done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    readings = json.loads(done.stdout)["readings"]
    return any(r["id"] == tag.number.id for r in readings), any(r["id"] != tag.number.id for r in readings)


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--trials", type=int, default=2)
    options.add_argument("--only", default="")
    options.add_argument("--offsets", type=int, default=3)
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    chosen = options.parse_args()
    groups = {}
    with ThreadPoolExecutor(chosen.jobs) as pool:
        for name, interferer in rows(chosen.offsets):
            if chosen.only not in name:
                continue
            results = list(pool.map(lambda trial: one(name, interferer, trial, chosen.seed), range(chosen.trials)))
            read, wrong = sum(r[0] for r in results), sum(r[1] for r in results)
            print(f"{name:44} {read:4} of {len(results):4} read, {wrong} wrong", flush=True)
            group = name.rsplit(" ", 2)[0] if name.endswith("Hz") and name.startswith(("second", "supply")) else name
            total = groups.setdefault(group, [0, 0, 0])
            groups[group] = [total[0] + read, total[1] + len(results), total[2] + wrong]
    failed = []
    print()
    for group, (read, total, wrong) in groups.items():
        print(f"{group:34} {read:5} of {total:5} read, {wrong} wrong")
        # Below the promised share by more than two binomial standard deviations of it.
        slack = 2 * np.sqrt(total * LEAST_SHARE * (1 - LEAST_SHARE))
        if read < LEAST_SHARE * total - slack or wrong:
            failed.append(group)
    print("failed: " + ", ".join(failed) if failed else "all rows hold")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

"""Captures whose energy is spread or shared, through `fieldripple decode --json`: bursts joined, scope records joined, a tag
that walks by, two and three tags. Each row is drawn at the level at which it has to be read, see `rows`.

Half of all telegrams have odds of 1e-5 or better at 3.0 dB folded (exact sum over CRC register x sign), so the same energy
in one piece is half read where Eb/N0 + 10 log10(telegrams) = 3.0 dB.

Options: --seed N, --trials N (each row), --only TEXT (rows that contain it).
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

from fdxb import FIELD_HZ, TELEGRAM_CYCLES, Bench, random_tag, ripple_capture, sigma_for

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000.0
HALF_READ_DB = 3.0
TELEGRAM_S = TELEGRAM_CYCLES / FIELD_HZ


def in_one_piece_db(seconds):
    """Eb/N0 at which half are read from one piece."""
    return HALF_READ_DB - 10 * np.log10(seconds / TELEGRAM_S)


def bench(rng, seconds, ebn0_db):
    return Bench(
        rate_hz=RATE_HZ, seconds=seconds, ebn0_db=ebn0_db, phase_deg=float(rng.uniform(0, 360)),
        field_hz=FIELD_HZ + float(rng.uniform(-300, 300)),
    )


def received(setting, relative, rms, rng):
    """The field with a ripple of these phasors (relative to it), sampled with the bench's noise."""
    times = np.arange(relative.size) / setting.rate_hz
    field = np.exp(1j * (2 * np.pi * setting.field_hz * times + np.radians(setting.phase_deg)))
    return (field * relative).real + sigma_for(setting, rms) * rng.standard_normal(relative.size)


def bursts(above_db):
    """14 bursts of 50 ms, 3 ms apart; each begins the telegram anew, up to 0.5 ms sooner or later."""

    def make(rng):
        on_s, off_s, count = 0.050, 0.003, 14
        setting = bench(rng, count * (on_s + off_s), in_one_piece_db(count * on_s) + above_db)
        tag = random_tag(rng, depth=0.01)
        times = np.arange(int(setting.seconds * RATE_HZ)) / RATE_HZ
        burst, since = np.divmod(times + 0.002, on_s + off_s)  # the record begins 2 ms into a burst
        delay = 0.0015 + rng.uniform(-0.0005, 0.0005, count + 2)[burst.astype(int)]
        cycles = setting.field_hz * (since - delay)
        states = np.where(cycles < 0, -tag.sign, tag.states(np.maximum(cycles, 0)))
        tau_s = 0.0001
        level = np.where(since < on_s, 1 - np.exp(-since / tau_s), np.exp(-(since - on_s) / tau_s))
        relative = level * (1 + tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * states)
        return [tag], [received(setting, relative, tag.depth, rng)]

    return make


def records(above_db):
    """Six scope records of 10 000 points, each begun at any moment."""

    def make(rng):
        tag = random_tag(rng, depth=0.01)
        setting = bench(rng, 10_000 / RATE_HZ, in_one_piece_db(60_000 / RATE_HZ) + above_db)
        pieces = []
        for _ in range(6):
            times = np.arange(10_000) / RATE_HZ
            begun = rng.uniform(0, 2 * TELEGRAM_CYCLES)
            states = tag.states(setting.field_hz * times + begun)
            relative = 1 + tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * states
            pieces.append(received(setting, relative, tag.depth, rng))
        return [tag], pieces

    return make


def walking(above_db):
    """One second in which the ripple rises and falls like a cosine over 0.4 s; Eb/N0 counts the energy in all of it."""

    def make(rng):
        tag = random_tag(rng, depth=0.01)
        middle = rng.uniform(0.2, 0.8)
        times = np.arange(int(RATE_HZ)) / RATE_HZ
        place = np.clip((times - middle) / 0.2, -1, 1)
        height = 0.5 * (1 + np.cos(np.pi * place))
        # A receiver told the height adds up what a steady ripple of full height gives in 0.15 s.
        setting = bench(rng, 1.0, in_one_piece_db(np.sum(height**2) / RATE_HZ) + above_db)
        states = tag.states(setting.field_hz * times + tag.start_cycles)
        relative = 1 + tag.depth * height * np.exp(1j * np.radians(tag.angle_deg)) * states
        return [tag], [received(setting, relative, tag.depth, rng)]

    return make


def together(*below_db):
    """Several tags for one second, the first at 15 dB, the others so much weaker."""

    def make(rng):
        tags = [random_tag(rng, depth=0.01 * 10 ** (-level / 20)) for level in (0, *below_db)]
        return tags, [ripple_capture(bench(rng, 1.0, 15.0), tags, rng).samples]

    return make


def rows():
    """(name, capture, share that has to be read)."""
    yield "14 bursts, 1.5 dB above one piece", bursts(1.5), 0.5
    yield "6 records, 1.5 dB above one piece", records(1.5), 0.5
    yield "walking by, 1.5 dB above told", walking(1.5), 0.5
    for level in (0, 3, 6, 10, 15):
        yield f"two tags, {level} dB apart", together(level), 0.90 if level == 0 else 0.95
    yield "three tags, 2 dB steps", together(2, 4), 0.80


def one(name, make, trial, seed):
    rng = np.random.default_rng([seed, trial, *name.encode()])
    tags, pieces = make(rng)
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        paths = [str(Path(folder) / f"{k}.npy") for k in range(len(pieces))]
        for path, samples in zip(paths, pieces):
            np.save(path, samples.astype(np.float32))
        join = ["--join"] if len(paths) > 1 else []
        command = [PROGRAM, "decode", *paths, *join, "--rate", str(RATE_HZ), "--json"]
        done = subprocess.run(command, capture_output=True, text=True, timeout=600)
    found = {r["id"] for line in done.stdout.splitlines() for r in json.loads(line)["readings"]}
    sent = {tag.number.id for tag in tags}
    return sent <= found, bool(found - sent)


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--trials", type=int, default=12)
    options.add_argument("--only", default="")
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    chosen = options.parse_args()
    failed = []
    with ThreadPoolExecutor(chosen.jobs) as pool:
        for name, make, share in rows():
            if chosen.only not in name:
                continue
            results = list(pool.map(lambda trial: one(name, make, trial, chosen.seed), range(chosen.trials)))
            read, wrong = sum(r[0] for r in results), sum(r[1] for r in results)
            slack = 2 * np.sqrt(chosen.trials * share * (1 - share))  # two binomial standard deviations
            holds = read >= share * chosen.trials - slack and not wrong
            print(f"{name:36} {read:4} of {len(results):4} read, {share:.0%} due, {wrong} wrong{'' if holds else '  FAILED'}", flush=True)
            if not holds:
                failed.append(name)
    print("failed: " + ", ".join(failed) if failed else "all rows hold")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

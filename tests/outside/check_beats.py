"""A second field that beats slowly with the reader's own, and hum on it: named as what they are, and no tag made of them.

Made in numpy, sample by sample: a field of 1, another one 3 to 100 Hz beside it or mains in its level and phase, white noise of
0.3 %, with a tag of 1 % (Eb/N0 15 dB and more) or without. The rules, written before the program was asked:

  no tag is claimed where none is: neither a telegram that does not fit, nor one that restarts, nor a weak one
  one beat and a half in the record name the second reader, its distance within half a line of the record, its level within 20 %
  hum is no second reader, with a tag or without
  the tag is read under either, a ripple of 0.003 % (Eb/N0 15 dB) too where less than a beat and a half is in the record

Options: --seed N, --full (all of the grid: some 500 captures), --jobs N.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from itertools import product
from pathlib import Path

import numpy as np

from fdxb import FIELD_HZ, random_tag
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000.0
NOISE = 0.003
DEPTH = 0.01
A_TAG = {"telegram-does-not-fit", "tag-restarts", "ripple-too-weak", "several-tags", "biphase-no-header", "check-of-another-kind"}
OTHER_CAUSES = {"pulses-too-short", "supply-harmonics", "clock-drift", "clock-hops", "gain-steps", "in-band-transmitter"}
LEAST_BEATS = 1.5
WEAK = dict(depth=3e-5, noise=2e-5)  # of a usual tag some eighty millimetres away, in a quiet record


def scenes(full):
    offsets = (3.0, 7.0, 13.0, 24.0, 41.0, 70.0, 100.0) if full else (7.0, 41.0)
    levels = (0.01, 0.05, 0.2, 0.6, 0.95) if full else (0.02, 0.6)
    lengths = (0.1, 0.2, 0.5) if full else (0.2,)
    for offset_hz, level, seconds, tag in product(offsets, levels, lengths, (False, True)):
        # A tag beside nearly equal fields is in neither.
        if not (tag and level > 0.7):
            yield dict(offset_hz=offset_hz, level=level, seconds=seconds, tag=tag)
    mains = (50.0, 60.0, 100.0, 120.0) if full else (50.0, 120.0)
    shares = (0.0005, 0.0015, 0.003) if full else (0.001,)
    for hum_hz, share, phase, tag in product(mains, shares, (0.0, 1.0), (False, True)):
        yield dict(hum_hz=hum_hz, share=share * np.exp(0.5j * np.pi * phase), seconds=0.3, tag=tag)
        if full:
            yield dict(hum_hz=hum_hz, share=share * np.exp(0.5j * np.pi * phase), seconds=0.3, tag=tag, offset_hz=31.0, level=0.1)
    beats = (0.1, 0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4) if full else (0.3, 0.9)
    levels = (0.001, 0.004, 0.015) if full else (0.004,)
    for count, level, seconds, tag in product(beats, levels, (0.05, 0.1, 0.3), (False, True)):
        yield dict(offset_hz=count / seconds, level=level, seconds=seconds, tag=tag, **WEAK)


def capture(scene, rng):
    times = np.arange(int(scene["seconds"] * RATE_HZ)) / RATE_HZ
    field_hz = FIELD_HZ + rng.uniform(-10, 10)
    relative = np.ones(times.size, dtype=complex)
    number = None
    if scene["tag"]:
        depth = scene.get("depth", DEPTH)
        tag = random_tag(rng, depth=depth)
        relative += depth * np.exp(1j * np.radians(tag.angle_deg)) * tag.states(field_hz * times + tag.start_cycles)
        number = tag.number.id
    if "hum_hz" in scene:
        relative *= 1 + scene["share"] * np.cos(2 * np.pi * scene["hum_hz"] * times + rng.uniform(0, 6))
    if "level" in scene:
        relative += scene["level"] * np.exp(1j * (2 * np.pi * scene["offset_hz"] * times + rng.uniform(0, 6)))
    wave = (relative * np.exp(2j * np.pi * field_hz * times + 1j)).real
    return wave + scene.get("noise", NOISE) * rng.standard_normal(times.size), number, field_hz


def answer(scene, index, seed):
    rng = np.random.default_rng([seed, index])
    samples, number, field_hz = capture(scene, rng)
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        path = Path(folder) / "capture.npy"
        np.save(path, samples.astype(np.float32))
        done = subprocess.run(
            [PROGRAM, "decode", str(path), "--rate", str(RATE_HZ), "--json"], capture_output=True, text=True, timeout=300
        )
    return scene, number, field_hz, json.loads(done.stdout)


def judge(checks, scene, number, field_hz, told):
    name = ", ".join(f"{key} {value:.4g}" if not isinstance(value, bool) else f"{key} {value}" for key, value in scene.items())
    codes = {finding["code"] for finding in told["findings"]}
    read = [reading["id"] for reading in told["readings"]]
    if number is None:
        checks.that(not read and not codes & A_TAG, f"{name}: no tag, said {codes} {read}")
    else:
        checks.that(read == [number] and not codes & (A_TAG - {"ripple-too-weak"}), f"{name}: {number}, said {codes} {read}")
    checks.that(not codes & OTHER_CAUSES, f"{name}: said {codes}")
    readers = [f["evidence"] for f in told["findings"] if f["code"] == "second-reader"]
    if "level" not in scene:
        checks.that(not readers, f"{name}: said second-reader {readers}")
        return
    beats = abs(scene["offset_hz"]) * scene["seconds"]
    if beats < LEAST_BEATS:
        return
    if checks.that(readers, f"{name}: no second-reader, said {codes}"):
        within = 0.5 / scene["seconds"]
        offset_hz = readers[0]["offset_hz"]
        # Nearly equal fields: either may be called the own one.
        offset_hz = abs(offset_hz) if scene["level"] > 0.9 else offset_hz
        checks.near(offset_hz, scene["offset_hz"], within, f"{name}: offset")
        checks.near(10 ** (readers[0]["level_db"] / 20) / scene["level"], 1.0, 0.2, f"{name}: level")


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--full", action="store_true")
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    chosen = options.parse_args()
    checks = Checks()
    with ThreadPoolExecutor(chosen.jobs) as pool:
        jobs = [pool.submit(answer, scene, index, chosen.seed) for index, scene in enumerate(scenes(chosen.full))]
        for job in jobs:
            judge(checks, *job.result())
    print(f"{len(jobs)} captures")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

"""One tag alone, well above the noise: its number is read, and nothing says that there are more tags.

Captures as `adversary.py` draws them, steady and pulsed, in tanks from 1.3 to 20 kHz, but with one tag. What keeps the receiver from
saying numbers that three tags make must not cost the number of one: a right number is doubted once in some thousands. Of so many
captures at one in 1000 more than the 0.999 quantile of the binomial fails.

Options: --captures N, --seed N. In CI 400 of seed 6000.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.stats import binom

from adversary import RATE_HZ, bench_of, pulsed_capture, some_number, tanks
from fdxb import FIELD_HZ, TELEGRAM_CYCLES, Pulses, Tag, ripple_capture

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
FOLDED_DB = (16.0, 36.0)  # some 6 dB above what reads half the time, and more
LOST = 1 / 1000
BATCH = 20


def drawn(seed, trial):
    """Samples of a capture, the number sent, and what was drawn."""
    rng = np.random.default_rng([seed, trial])
    tag = Tag(
        number=some_number(rng), depth=0.01, angle_deg=float(rng.uniform(-90, 90)), start_cycles=float(rng.uniform(0, TELEGRAM_CYCLES)),
        **tanks(rng, 1)[0],
    )
    pulses = None
    if rng.random() < 0.3:
        pulses = Pulses(
            on_s=0.1, off_s=float(rng.choice([0.003, 0.01, 0.02])), tau_s=float(rng.uniform(1e-4, 3e-4)),
            tag_delay_s=float(rng.uniform(0.0005, 0.004)), lead_s=float(rng.uniform(0, 0.05)),
        )
    bench = bench_of(rng, pulses)
    telegrams = (min(bench.seconds, 0.1) if pulses else bench.seconds) * FIELD_HZ / TELEGRAM_CYCLES
    bench = replace(bench, ebn0_db=float(rng.uniform(*FOLDED_DB)) - 10 * np.log10(telegrams), bits=None)
    samples = pulsed_capture(bench, [tag], tag.start_cycles, rng) if pulses else ripple_capture(bench, tag, rng).samples
    return samples, tag.number.id, f"{tag} {bench}"


def judge(seed, trials):
    """Captures of one call that are not as they should be."""
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        made = {}
        for trial in trials:
            samples, number, about = drawn(seed, trial)
            path = str(Path(folder) / f"{trial}.npy")
            np.save(path, samples.astype(np.float32))
            made[path] = (trial, number, about)
        done = subprocess.run([PROGRAM, "decode", *made, "--rate", str(RATE_HZ), "--json"], capture_output=True, text=True, timeout=600)
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    if len(lines) != len(made):
        raise RuntimeError(f"captures {trials}: exit {done.returncode}, {len(lines)} lines: {done.stderr}")
    wrong = []
    for line in lines:
        trial, number, about = made[line["capture"]["path"]]
        found = [reading["id"] for reading in line["readings"]]
        codes = [finding["code"] for finding in line["findings"]]
        if found != [number] or "several-tags" in codes:
            wrong.append((set(found) - {number}, f"capture {trial}: {found} for {number}, {codes}\n    {about}"))
    return wrong


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--captures", type=int, default=400)
    options.add_argument("--seed", type=int, default=6000)
    chosen = options.parse_args()
    batches = [range(at, min(at + BATCH, chosen.captures)) for at in range(0, chosen.captures, BATCH)]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        wrong = [row for rows in pool.map(lambda batch: judge(chosen.seed, batch), batches) for row in rows]
    for _, text in wrong:
        print(text)
    false = sum(bool(others) for others, _ in wrong)
    allowed = int(binom.isf(1e-3, chosen.captures, LOST))
    print(f"{chosen.captures} captures of one tag, seed {chosen.seed}: {len(wrong)} lost ({allowed} allowed), {false} with a number that was not sent")
    return 1 if false or len(wrong) > allowed else 0


if __name__ == "__main__":
    sys.exit(main())

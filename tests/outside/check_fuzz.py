"""Bad input at every door of the program (`fuzz_targets.py`), with overflow checks on and limits on memory and time.

Whatever is given: exit code 0, 1 or 2; no panic; a refusal is one line; JSON that can be read; no half-written output;
no number where no telegram is;
peak memory 64 MiB and twenty times the input, 256 MiB where the input is a bench or a table. Processor time is limited to ten seconds for a
capture: the checked program is slower than the one for use, whose limits `check_shapes.py` holds.

The program is the one that `cargo build` makes, whose arithmetic is checked; CHECKED names another. What fails is kept in target/fuzz.

Options: --seconds N (30), --seed N, --target NAME, --case N (that one alone, and show it), --jobs N.
The long run: python tests/outside/check_fuzz.py --seconds 600 --seed 2
"""

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from fuzz_targets import ROOT, Corpus
from measured_run import run_measured

KEPT = ROOT / "target/fuzz"
TARGETS = ("capture", "samples", "scenario", "capture", "table", "answers", "capture", "axis", "options", "telegram")
MEMORY_ANYWAY = 64 << 20
MEMORY_OF_WORK = 256 << 20
MEMORY_RATIO = 20
ADDRESSES = 4 << 30  # where a run asks for more, it is stopped before the machine is
LONGEST_TEXT = 1000


def built():
    """The program with checked arithmetic."""
    if named := os.environ.get("CHECKED"):
        return str(Path(named).resolve())
    subprocess.run(["cargo", "build", "--quiet", "--bin", "fieldripple"], cwd=ROOT, check=True)
    return str((Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "debug/fieldripple").resolve())


def fault(ran, case, target, folder, before):
    """What is wrong with a run, or None."""
    if ran.returncode not in (0, 1, 2) or "panicked" in ran.stderr:
        return f"exit {ran.returncode}: {ran.stderr[:300]}"
    if ran.returncode == 2 and not ran.stderr.strip():
        return "refused without a word"
    if ran.returncode == 2 and (len(ran.stderr.strip().splitlines()) != 1 or not ran.stderr.startswith("fieldripple: ")):
        return f"refused in {len(ran.stderr.splitlines())} lines: {ran.stderr[:300]}"
    if len(ran.stderr) > LONGEST_TEXT:
        return f"{len(ran.stderr)} bytes of complaint"
    if "--json" in case.arguments and ran.returncode != 2:
        try:
            answers = [json.loads(line, parse_constant=lambda word: 1 / 0) for line in ran.stdout.splitlines()]
        except (ValueError, ZeroDivisionError) as error:
            return f"JSON that cannot be read: {error}"
        if target == "samples" and any(answer["readings"] for answer in answers):
            return f"a number that nobody sent: {[reading['id'] for answer in answers for reading in answer['readings']]}"
    left = [path.name for path in folder.iterdir() if path.name not in before and (path.suffix == ".part" or ran.returncode == 2)]
    if left:
        return f"left behind: {left}"
    anyway = MEMORY_ANYWAY if target in ("capture", "samples") else MEMORY_OF_WORK
    if ran.peak_bytes > anyway + MEMORY_RATIO * case.size:
        return f"{ran.peak_bytes / 2**20:.0f} MiB for {case.size} bytes"
    if ran.processor_s > case.may_take_s:
        return f"{ran.processor_s:.1f} s for {case.size} bytes"
    return None


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--seconds", type=float, default=30)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--target", choices=sorted(set(TARGETS)))
    options.add_argument("--case", type=int)
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    chosen = options.parse_args()
    program = built()
    counts, faults = Counter(), []
    with tempfile.TemporaryDirectory(prefix="fuzz-") as temporary:
        root = Path(temporary)
        corpus = Corpus(root)
        lesson = [program, "lesson", str(root / "lesson"), "--exercise", "3", "--secret", "5"]
        subprocess.run(lesson, check=True, capture_output=True)
        for path in (root / "lesson").rglob("answer*.csv"):
            corpus.sheets[path.name] = path.read_bytes()

        def one(count):
            target = chosen.target or TARGETS[count % len(TARGETS)]
            folder = root / f"case-{count}"
            folder.mkdir()
            case = getattr(corpus, target)(np.random.default_rng([chosen.seed, count]), folder)
            before = {path.name for path in folder.iterdir()}
            limits = {"RLIMIT_AS": ADDRESSES, "RLIMIT_CPU": int(case.may_take_s) + 5}
            ran = run_measured([program, *case.arguments], cwd=folder, limits=limits)
            wrong = fault(ran, case, target, folder, before)
            if chosen.case is not None:
                print(case.arguments, ran, sep="\n")
            if wrong:
                shutil.copytree(folder, KEPT / f"{target}-{chosen.seed}-{count}", dirs_exist_ok=True)
            shutil.rmtree(folder)
            return target, count, case, wrong

        end = time.monotonic() + chosen.seconds
        count = chosen.case or 0
        with ThreadPoolExecutor(chosen.jobs) as pool:
            while time.monotonic() < end:
                batch = [count] if chosen.case is not None else range(count, count + 10 * chosen.jobs)
                for target, number, case, wrong in pool.map(one, batch):
                    counts[target] += 1
                    if wrong:
                        faults.append(f"--target {target} --seed {chosen.seed} --case {number}: {wrong}\n    {' '.join(map(repr, case.arguments))[:300]}")
                        print("FAILED: " + faults[-1], flush=True)
                count = batch[-1] + 1
                if chosen.case is not None:
                    break
    print(", ".join(f"{target} {counts[target]}" for target in sorted(counts)))
    print(f"{counts.total() - len(faults)} inputs held, {len(faults)} did not")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())

"""Ordinary captures of a bench, made in numpy and judged by rules that were written before looking: is what `fieldripple decode`
says of them right, missing, or false?

`findings_rules.py` says what may be said, `findings_bench.py` draws a bench, `findings_kinds_*.py` make the captures. Every capture depends on
its kind and seed alone.

    FIELDRIPPLE=target/debug/fieldripple target/outside-venv/bin/python tests/outside/check_findings.py --seeds 5

Options: --first SEED, --seeds N (so many a kind), --kinds TEXT,TEXT (those that contain one of them), --false-alarms (per code, how
often it was raised where its cause is absent, and whether what the program states lies in the 95 % interval), --measured FILE (the same
as JSON), --keep FOLDER (captures and answers stay there), --verbose (every capture that is not right), --write (the list of known misses anew, for the seeds run), --jobs N.

Without options: seed 1 of each kind, held against `findings_known_misses.json`: exactly these are not right. A seed the list does not
have is only reported.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

import findings_kinds_beside
import findings_kinds_other
import findings_kinds_plain
import findings_kinds_records
import findings_kinds_tags
from findings_rules import KNOWN_CODES, NEW_CODES, judge

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
KNOWN = Path(__file__).with_name("findings_known_misses.json")
KINDS = {}
for part in (findings_kinds_plain, findings_kinds_beside, findings_kinds_records, findings_kinds_tags, findings_kinds_other):
    KINDS |= part.KINDS
LONGEST_S = 60  # an answer that takes more processor time than this broke: the largest capture here takes some two seconds


def _bounded():
    """No capture here is larger than a few megabytes: who asks for more than 4 GiB for one is stopped before the machine is.
    Processor time, so that a busy machine changes no verdict."""
    resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_S, LONGEST_S))


def answer(found):
    """The line of JSON, or None where the program broke."""
    command = [PROGRAM, "decode", *found.files, *found.arguments, "--json"]
    done = subprocess.run(command, capture_output=True, text=True, preexec_fn=_bounded)
    if done.returncode == 2 and len(done.stderr.splitlines()) == 1:
        return command, {"refused": done.stderr, "findings": []}
    if done.returncode not in (0, 1):
        print(f"{' '.join(command)}: exit {done.returncode}, {done.stderr.splitlines()[:1]}", file=sys.stderr)
        return command, None
    return command, json.loads(done.stdout.splitlines()[0])


def one(task):
    """Makes, reads and judges one capture."""
    kind, seed, keep = task
    os.environ.setdefault("RAYON_NUM_THREADS", "1")
    rng = np.random.default_rng([seed, *kind.encode()])
    with tempfile.TemporaryDirectory(prefix="ripple-") as scratch:
        folder = Path(keep) / f"{kind}-{seed}" if keep else Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        found = KINDS[kind](rng, folder)
        command, told = answer(found)
        if keep:
            (folder / "answer.json").write_text(json.dumps(told, indent=1))
            (folder / "truth.txt").write_text(f"{' '.join(command)}\n{found.truth}\n{found.about}\n")
    verdict = judge(found.truth, told)
    stated = {f["code"]: f["evidence"].get("false_alarm") for f in told["findings"]} if told else {}
    return dict(kind=kind, seed=seed, verdict=verdict.name, false=verdict.false, missing=verdict.missing, codes=stated,
                allowed=sorted(found.truth.allowed()), about=found.about)


def counted(items):
    return ", ".join(f"{text} {count}" for text, count in Counter(items).most_common())


def table(results):
    print(f"{'kind':26} {'right':>5} {'missed':>6} {'false':>5}  said falsely; not said")
    for kind in KINDS:
        rows = [r for r in results if r["kind"] == kind]
        if not rows:
            continue
        count = Counter(r["verdict"] for r in rows)
        false = counted(text for r in rows for text in r["false"])
        missing = counted(text for r in rows if r["verdict"] != "right" for text in r["missing"])
        print(f"{kind:26} {count['right']:5} {count['missed']:6} {count['false']:5}  {false}{'; ' if missing else ''}{missing}".rstrip())
    total = Counter(r["verdict"] for r in results)
    shares = ", ".join(f"{total[name]} {name} ({100 * total[name] / len(results):.1f} %)" for name in ("right", "missed", "false"))
    print("said falsely: " + counted(text for r in results for text in r["false"]))
    return shares


def wilson(hits, trials, z=1.96):
    """95 % interval of a share (E. B. Wilson, J. Am. Stat. Assoc. 22, 1927)."""
    share, weight = hits / trials, z * z / trials
    middle = (share + weight / 2) / (1 + weight)
    half = z / (1 + weight) * np.sqrt(share * (1 - share) / trials + weight / trials / 4)
    return max(0.0, middle - half), min(1.0, middle + half)


def false_alarms(results, measured):
    """Per code: raised in so many of the captures in which its cause is absent; and what the program states."""
    absent, raised, stated = Counter(), Counter(), defaultdict(set)
    codes = sorted(KNOWN_CODES | NEW_CODES | {code for r in results for code in r["codes"]})
    for r in results:
        for code in codes:
            if code not in r["allowed"]:
                absent[code] += 1
                raised[code] += code in r["codes"]
            if r["codes"].get(code) is not None:
                stated[code].add(r["codes"][code])
    told = {}
    print(f"{'code':26} {'absent in':>9} {'raised in':>9} {'share':>8}   95 % interval      stated false_alarm")
    for code in codes:
        if not absent[code]:
            continue
        low, high = wilson(raised[code], absent[code])
        told[code] = {"captures": absent[code], "raised": raised[code], "low95": round(low, 5), "high95": round(high, 5)}
        said = ", ".join(f"{value:.2g}" for value in sorted(stated[code])[:4]) or "-"
        wrong = "   OUTSIDE" if any(not low <= value <= high for value in stated[code]) else ""
        print(f"{code:26} {absent[code]:9} {raised[code]:9} {raised[code] / absent[code]:8.4f}   {low:.4f} ... {high:.4f}   {said}{wrong}")
    if measured:
        Path(measured).write_text(json.dumps(told, indent=1) + "\n")


def told_briefly(result):
    return result["verdict"] + (": " + ", ".join(sorted(result["false"])) if result["false"] else "")


def against_known(results, write):
    """Lines that differ from the list of known misses: every seed in the list is held exactly."""
    known = json.loads(KNOWN.read_text()) if KNOWN.exists() else {}
    if write:
        for r in results:
            known.setdefault(str(r["seed"]), {}).pop(r["kind"], None)
            if r["verdict"] != "right":
                known[str(r["seed"])][r["kind"]] = told_briefly(r)
        ordered = {seed: dict(sorted(known[seed].items())) for seed in sorted(known, key=int)}
        KNOWN.write_text(json.dumps(ordered, indent=1) + "\n")
        return []
    changed = []
    for r in results:
        if str(r["seed"]) in known:
            expected = known[str(r["seed"])].get(r["kind"], "right")
            if told_briefly(r) != expected:
                changed.append(f"{r['kind']}, seed {r['seed']}: {told_briefly(r)}, not {expected}")
    return changed


def main():
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--first", type=int, default=1)
    options.add_argument("--seeds", type=int, default=1)
    options.add_argument("--kinds", default="")
    options.add_argument("--false-alarms", action="store_true")
    options.add_argument("--measured", metavar="FILE")
    options.add_argument("--keep")
    options.add_argument("--verbose", action="store_true")
    options.add_argument("--write", action="store_true")
    options.add_argument("--jobs", type=int, default=os.cpu_count())
    chosen = options.parse_args()
    if not Path(PROGRAM).exists():
        print(f"error: {PROGRAM} is not there: build it, or name it in FIELDRIPPLE", file=sys.stderr)
        return 2
    kinds = [kind for kind in KINDS if any(text in kind for text in chosen.kinds.split(","))]
    tasks = [(kind, seed, chosen.keep) for seed in range(chosen.first, chosen.first + chosen.seeds) for kind in kinds]
    with ProcessPoolExecutor(chosen.jobs) as pool:
        results = list(pool.map(one, tasks))
    if chosen.verbose:
        for r in sorted(results, key=lambda r: r["kind"]):
            if r["verdict"] != "right":
                print(f"{r['kind']}, seed {r['seed']}: {r['verdict']}; false {r['false']}; not said {r['missing']}; said {sorted(r['codes'])}")
                print(f"    {r['about']}")
    shares = table(results)
    if chosen.false_alarms or chosen.measured:
        false_alarms(results, chosen.measured)
    changed = against_known(results, chosen.write)
    for line in changed:
        print(f"CHANGED: {line}")
    print(f"{len(results)} captures of {len(kinds)} kinds: {shares}; {len(changed)} differ from the list of known misses")
    return 1 if changed else 0


if __name__ == "__main__":
    sys.exit(main())

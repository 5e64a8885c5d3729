"""Files in the layouts that instruments write (`shapes.py`), through `fieldripple decode --json`: each has to be read at first try,
with the right rate, unit, channel and height of the field; and files that hold no samples of a kind that is read are named for what they are.

The field's amplitude is held within 2 %: eight bits of a ±2 V range are 1 % of 1.6 V, and a rate that is wrong by a prefix or a unit
that is wrong by a thousand are far outside. Rates within 1e-6, more where the file's digits do not say it better.

Options: --seed N, --only TEXT (shapes that contain it), --keep FOLDER (leave the files there).
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from refusals import REFUSALS
from report import Checks
from shapes import SHAPES, make

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
AMPLITUDE_TOLERANCE = 0.02


def run(arguments):
    return subprocess.run([PROGRAM, "decode", "--json", *arguments], capture_output=True, text=True, timeout=120, check=False)


def fault(made):
    """What is wrong with the reading of a file, or None."""
    given = made.rate_hz or 0
    arguments = [f"{given:.0f}" if word == "RATE" else word for word in made.arguments]
    ran = run([made.path, *arguments])
    if ran.returncode == 2 or not ran.stdout:
        return f"exit {ran.returncode}: {ran.stderr.strip()}"
    result = json.loads(ran.stdout)
    capture = result["capture"]
    unit = result["field"]["unit"]
    said = {key: capture.get(key) for key in ("rate_hz", "kind", "channel", "taken")}
    codes = [finding["code"] for finding in result["findings"]]
    ids = [reading["id"] for reading in result["readings"]]
    wrong = []
    if ids != [made.identity]:
        wrong.append(f"numbers {ids}, sent {made.identity}")
    if made.rate_hz and abs(capture["rate_hz"] / made.rate_hz - 1) > made.rate_tolerance:
        wrong.append(f"rate {capture['rate_hz']}, made with {made.rate_hz}")
    if made.kind != capture["kind"]:
        wrong.append(f"kind {capture['kind']}, made as {made.kind}")
    if made.channel and made.channel != capture["channel"]:
        wrong.append(f"channel {capture['channel']}, the tag is in {made.channel}")
    amplitude = result["field"]["amplitude"]
    if made.kind != "logic" and unit != made.unit:
        wrong.append(f"unit {unit}, is {made.unit}")
    if made.amplitude and (amplitude is None or abs(amplitude / made.amplitude - 1) > AMPLITUDE_TOLERANCE):
        wrong.append(f"field of {amplitude}, is {made.amplitude}")
    return f"{'; '.join(wrong)}; {said}, {codes}, {ran.stderr.strip()}" if wrong else None


def refused_wrongly(name, folder):
    """A file that is none must be called what it is, in one line, with exit code 2 and no advice to take it for bare samples."""
    content, words = REFUSALS[name]
    path = folder / "capture"
    path.write_bytes(content() if callable(content) else content)
    ran = run([str(path)])
    line = ran.stderr.strip()
    good = ran.returncode == 2 and line.count("\n") == 0 and "--raw" not in line and all(word.lower() in line.lower() for word in words)
    return None if good else f"exit {ran.returncode}: {line}"


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="")
    parser.add_argument("--keep")
    options = parser.parse_args()
    checks = Checks()
    with tempfile.TemporaryDirectory() as temporary:
        root = Path(options.keep or temporary)

        def one(job):
            kind, count, name = job
            folder = root / f"{kind}-{count:03d}"
            folder.mkdir(parents=True, exist_ok=True)
            return fault(make(name, folder, options.seed)) if kind == "shape" else refused_wrongly(name, folder)

        jobs = [("shape", count, name) for count, name in enumerate(SHAPES)] + [("refusal", count, name) for count, name in enumerate(REFUSALS)]
        jobs = [job for job in jobs if options.only in job[2]]
        with ThreadPoolExecutor(2) as pool:
            shares = {}
            for job, wrong in zip(jobs, pool.map(one, jobs)):
                checks.that(wrong is None, f"{job[2]} ({job[0]}-{job[1]:03d}): {wrong}")
                share = shares.setdefault(job[0], [0, 0])
                share[0] += wrong is None
                share[1] += 1
    print(", ".join(f"{right} of {count} {kind}s" for kind, (right, count) in shares.items()))
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

"""Files in the layouts that instruments write (`shapes.py`), through `fieldripple decode --json`: each has to be read at first try,
with the right rate, unit, channel and height of the field; and files that hold no samples of a kind that is read are named for what they are.

The field's amplitude is held within 2 %: eight bits of a ±2 V range are 1 % of 1.6 V, and a rate that is wrong by a prefix or a unit
that is wrong by a thousand are far outside. Rates within 1e-6, more where the file's digits do not say it better.

Every file, and those that are made to become a lot (`bombs.py`), is held to the limits of any input: peak memory 64 MiB and twenty
times its size; time 1 s and ten times that of a good capture (16-bit WAV) of the same size, the median of three runs.

Options: --seed N, --only TEXT (shapes that contain it), --keep FOLDER (leave the files there).
"""

import argparse
import json
import os
import sys
import tempfile
import threading
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from bombs import BOMBS
from measured_run import run_measured
from refusals import REFUSALS
from report import Checks
import shapes_more  # noqa: F401  registers its shapes
from shapes import SHAPES, form, make, signal, wave

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
AMPLITUDE_TOLERANCE = 0.02


MEMORY_ANYWAY = 64 << 20
MEMORY_RATIO = 20
TIME_ANYWAY_S = 1.0
TIME_RATIO = 10


def run(arguments):
    return run_measured([PROGRAM, "decode", "--json", *arguments])


class GoodCaptures:
    """Seconds that good captures take, by size in bytes: WAV files of one tag's signal."""

    def __init__(self, folder):
        self.folder = folder
        self.known = {}
        self.lock = threading.Lock()

    def seconds(self, size):
        # Next lower power of two: never a larger capture than the file in question.
        count = max(1 << 12, 1 << (max(size, 1).bit_length() - 1))
        with self.lock:
            if count not in self.known:
                own = signal(np.random.default_rng(count), 500e3, count / 2 / 500e3)
                path = self.folder / f"good-{count}"
                body = np.round(own.volts / 2 * 32767).astype("<i2").tobytes()
                path.write_bytes(wave(b"fmt " + (16).to_bytes(4, "little") + form(1, 1, 500e3, 16), b"data" + len(body).to_bytes(4, "little") + body))
                self.known[count] = float(np.median([run([str(path)]).seconds for _ in range(3)]))
            return self.known[count]


def beyond_limits(ran, path, arguments, good):
    """Which limit of memory or time a run went beyond, or None."""
    size = os.path.getsize(path)
    if path.endswith(".sigmf-meta"):
        size += sum(other.stat().st_size for other in Path(path).parent.iterdir() if other.name != Path(path).name)
    most = MEMORY_ANYWAY + MEMORY_RATIO * size
    if ran.peak_bytes > most:
        return f"{ran.peak_bytes / 2**20:.0f} MiB for {size} bytes, at most {most / 2**20:.0f}"
    if ran.seconds > TIME_ANYWAY_S:
        allowed = TIME_ANYWAY_S + TIME_RATIO * good.seconds(size)
        if ran.seconds > allowed and (seconds := float(np.median([ran.seconds] + [run([path, *arguments]).seconds for _ in range(2)]))) > allowed:
            return f"{seconds:.1f} s for {size} bytes, at most {allowed:.1f}"
    return None


def fault(made, good):
    """What is wrong with the reading of a file, or None."""
    given = made.rate_hz or 0
    arguments = [f"{given:.0f}" if word == "RATE" else word for word in made.arguments]
    ran = run([made.path, *arguments])
    if beyond := beyond_limits(ran, made.path, arguments, good):
        return beyond
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


def burst(name, folder, good):
    """A file that becomes a lot: refused in one line or without a number, within the limits."""
    path = folder / "capture"
    path.write_bytes(BOMBS[name]())
    ran = run([str(path)])
    if beyond := beyond_limits(ran, str(path), [], good):
        return beyond
    fine = ran.returncode == 1 and not ran.stderr or ran.returncode == 2 and ran.stderr.strip().count("\n") == 0
    return None if fine else f"exit {ran.returncode}: {ran.stderr.strip()}"


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
            if kind == "shape":
                return fault(make(name, folder, options.seed), good)
            return refused_wrongly(name, folder) if kind == "refusal" else burst(name, folder, good)

        good = GoodCaptures(Path(temporary))
        jobs = [("shape", count, name) for count, name in enumerate(SHAPES)] + [("refusal", count, name) for count, name in enumerate(REFUSALS)]
        jobs += [("bomb", count, name) for count, name in enumerate(BOMBS)]
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

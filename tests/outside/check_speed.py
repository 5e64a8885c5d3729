"""How fast the program is beside numpy and pandas on the same machine, in turns in one run; and how much memory it takes.

Prints one line a row: what was measured, the ratio, what is asked for. A row fails where it is worse than its guard. Memory is held to
what is asked for; times have guards of about twice what was measured (benches/MEASURED.md), because ratios on shared machines move by
half even as medians of many turns: they catch what became several times slower, and the printed line says the rest. Options: --turns N; --front adds the front end, which needs cargo and builds a bench.
"""

import argparse
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas
from scipy.io import wavfile

from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
ROOT = Path(__file__).resolve().parents[2]
FIELD_HZ = 134_200.0
MEBIBYTE = 1024.0


def run(*arguments, threads=None):
    environment = dict(os.environ)
    if threads:
        environment["RAYON_NUM_THREADS"] = str(threads)
    command = [PROGRAM, *map(str, arguments)]
    # Without pipes and without closing files first, so that little but the program itself is timed; and without a timeout: waiting
    # with one looks again only after pauses of up to 50 ms.
    done = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, close_fds=False, env=environment)
    if done.returncode not in (0, 1):
        raise SystemExit(f"{' '.join(command)}: exit code {done.returncode}")


def timed(work):
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def in_turns(turns, ours, theirs):
    """Medians of both, seconds; the first turn warms caches and is left out."""
    both = [(timed(ours), timed(theirs)) for _ in range(turns + 1)][1:]
    return tuple(statistics.median(times) for times in zip(*both))


def most_memory(path):
    """Kilobytes a decode takes at most; its own process, so that it alone is measured."""
    code = (
        "import resource, subprocess, sys\n"
        "subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL)\n"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    done = subprocess.run([sys.executable, "-c", code, PROGRAM, "decode", str(path)], capture_output=True, text=True, timeout=600)
    return float(done.stdout)


def wav(folder, turns, ebn0):
    path = folder / f"second_{ebn0}.wav"
    more = ["--ebn0", ebn0] if ebn0 is not None else []
    run("synth", path, "--rate", 2_000_000, "--seconds", 1, *more)
    samples = wavfile.read(path)[1].astype(np.float64)
    return in_turns(turns, lambda: run("decode", path), lambda: np.fft.rfft(samples))


def text(folder, turns):
    path = folder / "second.csv"
    run("synth", path, "--rate", 2_000_000, "--seconds", 1, "--ebn0", 15)
    return in_turns(max(turns // 3, 3), lambda: run("decode", path), lambda: pandas.read_csv(path))


def memory(folder):
    sizes = []
    for seconds in (0.05, 60):
        path = folder / "long.wav"
        run("synth", path, "--rate", 2_000_000, "--seconds", seconds, "--ebn0", 10)
        sizes.append(most_memory(path))
    return (sizes[1] - sizes[0]) / MEBIBYTE


def trial(turns):
    """A trial of margin around the limit, and the draw of as many samples of noise and carrier."""
    count, trials = 35_000, 200
    rng = np.random.default_rng(1)
    index = np.arange(count)

    def draw():
        return np.cos(2 * np.pi * FIELD_HZ / 500e3 * index + 0.3) + 0.1 * rng.standard_normal(count)

    def ours():
        run("margin", "--vary", "ebn0=-2:6:2", "--seconds", 0.07, "--trials", trials // 5, threads=1)

    def theirs():
        for _ in range(trials):
            draw()

    own, numpy = in_turns(max(turns // 3, 3), ours, theirs)
    return own / trials, numpy / trials


def two_threads(turns):
    """Captures a second of one run on two threads, over that of two runs on one thread each at the same time."""

    def plan(seed, trials):
        return ["margin", "--vary", "ebn0=-2:6:2", "--seconds", "0.07", "--trials", str(trials), "--seed", str(seed)]

    def apart():
        environment = {**os.environ, "RAYON_NUM_THREADS": "1"}
        started = [
            subprocess.Popen([PROGRAM, *plan(seed, 60)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment)
            for seed in (1, 2)
        ]
        for one in started:
            one.wait()

    together, separate = in_turns(max(turns // 3, 3), lambda: run(*plan(1, 120), threads=2), apart)
    return separate / together


def front():
    """The front end on a second at 500 kS/s, and mixing, filtering and picking one value a cycle in numpy."""
    done = subprocess.run(
        ["cargo", "bench", "--bench", "stages", "--", "front"], capture_output=True, text=True, cwd=ROOT, timeout=1800
    )
    found = re.search(r"time:\s+\[\S+ \S+ ([\d.]+) (µs|ms)", done.stdout)
    own = float(found[1]) * {"µs": 1e-6, "ms": 1e-3}[found[2]]
    rate_hz, count, passes_hz, stops_hz, attenuation_db = 500e3, 500_000, 30e3, 104e3, 90.0
    samples = np.cos(2 * np.pi * FIELD_HZ * np.arange(count) / rate_hz).astype(np.float32)
    length = int(np.ceil((attenuation_db - 7.95) / (14.36 * (stops_hz - passes_hz)) * rate_hz)) + 2
    places = np.arange(length) - length // 2
    kernel = np.sinc((passes_hz + stops_hz) / rate_hz * places) * np.kaiser(length, 0.1102 * (attenuation_db - 8.7))
    kernel = (kernel / kernel.sum()).astype(np.float32)
    cycles = np.arange(int(count * FIELD_HZ / rate_hz)) * rate_hz / FIELD_HZ
    whole = cycles.astype(int)
    share = (cycles - whole).astype(np.float32)

    def step():
        mixed = samples * np.exp(-2j * np.pi * FIELD_HZ / rate_hz * np.arange(count)).astype(np.complex64)
        filtered = np.convolve(mixed, kernel, "same")
        return filtered[whole] * (1 - share) + filtered[np.minimum(whole + 1, count - 1)] * share

    return own, statistics.median([timed(step) for _ in range(9)])


def main():
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--turns", type=int, default=15)
    options.add_argument("--front", action="store_true")
    chosen = options.parse_args()
    checks = Checks()

    def ratio(name, own, other, asked, guard):
        print(f"{name}: {1e3 * own:.1f} ms against {1e3 * other:.1f} ms, ratio {own / other:.2f}; asked for: at most {asked}", flush=True)
        checks.that(own / other <= guard, f"{name}: {own / other:.2f}, guard {guard}")

    with tempfile.TemporaryDirectory(prefix="ripple-") as name:
        folder = Path(name)
        ratio("1 s at 2 MS/s as WAV, Eb/N0 15 dB, against rfft", *wav(folder, chosen.turns, 15), 1, 4.0)
        ratio("the same without added noise", *wav(folder, chosen.turns, None), 1, 5.0)
        ratio("the same as text, against read_csv", *text(folder, chosen.turns), 1, 1.0)
        taken = memory(folder)
        print(f"60 s at 2 MS/s beyond 50 ms: {taken:.1f} MiB; asked for: at most 64", flush=True)
        checks.that(taken <= 64, f"memory {taken:.1f} MiB")
    ratio("a trial of 70 ms on one thread, against noise and carrier", *trial(chosen.turns), 1, 20.0)
    gained = two_threads(chosen.turns)
    print(f"two threads against two processes: {gained:.3f}; asked for: at least 0.95", flush=True)
    checks.that(gained >= 0.8, f"two threads {gained:.3f}")
    if chosen.front:
        ratio("front end, 1 s at 500 kS/s, against numpy", *front(), 0.2, 0.2)
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

"""A gate that runs for long: 500 kS/s through `decode --follow --json -` in real time, on one core. Memory stays flat and below 200 MB,
the work takes less than the time, and every tag that passes is listed, begin and end within 0.1 s, and no other.

Two minutes as it stands. One hour:

    FIELDRIPPLE=target/release/fieldripple python tests/outside/check_soak.py --seconds 3600

The stream is a record of 40 s by `passes.py` over and over: six tags pass one after the other, and the field goes off at its end, so
that the seam is none.
"""

import argparse
import json
import os
import subprocess
import sys
import threading
import time

import numpy as np

from fdxb import Number, Tag
from passes import BLOCK_S, Pass, Record
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000
TURN_S = 40.0
MOST_MB = 200.0
# Allocators keep what was freed: what grows by less than this between the first quarter of the run and its end does not grow.
FLAT_MB = 16.0


def record():
    rng = np.random.default_rng(11)
    passes = []
    for index in range(6):
        tag = Tag(Number(national=1000 + index), depth=0.01, angle_deg=float(rng.uniform(-90, 90)), start_cycles=float(rng.uniform(0, 4096)))
        begin = 1.0 + 6.0 * index + float(rng.uniform(0, 1))
        passes.append(Pass(tag, begin, begin + float(rng.uniform(0.6, 3.5))))
    return Record(RATE_HZ, TURN_S, ((0.0, 38.5),), tuple(passes), 10.0, seed=3)


def megabytes(process):
    with open(f"/proc/{process.pid}/statm") as numbers:
        return int(numbers.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--speed", type=float, default=1.0, help="times real time; 0: as fast as it goes")
    options = parser.parse_args()
    checks = Checks()
    turn = record()
    blocks = list(turn.bytes())
    turns = max(1, round(options.seconds / TURN_S))
    core = {sorted(os.sched_getaffinity(0))[0]}
    words = [PROGRAM, "decode", "--follow", "--raw", "i16", "--rate", str(RATE_HZ), "--json", "-"]
    process = subprocess.Popen(
        words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=dict(os.environ, RAYON_NUM_THREADS="1"),
        preexec_fn=lambda: os.sched_setaffinity(0, core),
    )
    memory = []

    def write():
        begun = time.monotonic()
        for index in range(turns * len(blocks)):
            if options.speed > 0:
                time.sleep(max(0.0, begun + (index + 1) * BLOCK_S / options.speed - time.monotonic()))
            process.stdin.write(blocks[index % len(blocks)])
            process.stdin.flush()
            if index % 10 == 0:
                memory.append(megabytes(process))
        process.stdin.close()

    writer = threading.Thread(target=write)
    begun = time.monotonic()
    writer.start()
    events = [json.loads(line) for line in process.stdout if b'"state"' not in line]
    writer.join()
    _, status, used = os.wait4(process.pid, 0)
    took = time.monotonic() - begun
    code = os.waitstatus_to_exitcode(status)
    work = used.ru_utime + used.ru_stime
    seconds = turns * TURN_S

    visits = [event for event in events if event["event"] == "visit-ended"]
    due = [(index * TURN_S + p.from_s, index * TURN_S + p.to_s, p.tag.number.id) for index in range(turns) for p in turn.passes]
    checks.that(len(visits) == len(due), f"{len(visits)} visits, {len(due)} are due")
    for begin, end, identity in due:
        near = [v for v in visits if v["id"] == identity and abs(v["from_s"] - begin) <= 0.1 and abs(v["to_s"] - end) <= 0.1]
        checks.that(len(near) == 1, f"{identity} from {begin:.2f} to {end:.2f} s: {len(near)} visits")
    told = {event["id"] for event in events if event["event"] == "number-read"}
    checks.that(told <= {identity for _, _, identity in due}, f"numbers told: {told}")
    checks.that(code == 0 and events[-1]["event"] == "summary", f"exit {code}")
    checks.near(events[-1]["seconds"], seconds, 1e-6, "seconds of signal")

    early = max(memory[: max(1, len(memory) // 4)])
    checks.that(max(memory) <= MOST_MB, f"{max(memory):.0f} MB of memory, allowed are {MOST_MB:.0f} MB")
    checks.that(max(memory) - early <= FLAT_MB, f"memory grew from {early:.0f} to {max(memory):.0f} MB")
    checks.that(work < seconds, f"{work:.0f} s of one core for {seconds:.0f} s of signal")
    print(
        f"{seconds:.0f} s of signal in {took:.0f} s, {work:.0f} s of one core ({work / seconds:.2f} of real time); "
        f"memory at most {max(memory):.0f} MB, {early:.0f} MB in the first quarter; {len(visits)} visits",
        flush=True,
    )
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

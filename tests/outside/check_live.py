"""Gates recorded for long, through `decode --visits` and `decode --follow --json -`: a field that comes and goes, tags that pass
one after the other or two at once, strong and weak, with sharp ends and short rises.

What must hold, by what the records are made of (`passes.py`):
- no number is told, or listed, that no tag of the record sent;
- every tag that was there for 0.5 s or more at Eb/N0 of 3 dB or more gives one visit, begin and end within 0.1 s;
- tags one after the other are never "several-tags", tags at once are;
- the field comes and goes within 0.05 s of where it does; no finding is raised that a clean record cannot have.

Options: --seed N, --records N, --latency S (seconds of real time at 1 MS/s; 0 leaves it out).
"""

import argparse
import csv
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from fdxb import FIELD_HZ, Number, Tag
from passes import BLOCK_S, Pass, Record
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000.0
WITHIN_S = 0.1
FIELD_WITHIN_S = 0.05
# A clean record's field may be off its frequency and without a tag for long; a weak tag comes near the limit.
MAY_STAND = {"no-ripple", "ripple-too-weak", "little-margin", "phase-only", "several-tags", "no-field", "clock-off"}
SURE_DB = 3.0
SURE_S = 0.5


def number(rng):
    return Number(country=999, national=int(rng.integers(1, 1 << 38)) % 274_877_906_944)


def gate(rng):
    """A record with three to seven passes, one after the other, sometimes with another tag over one of them."""
    noise_db = float(rng.uniform(6, 14))
    passes, at = [], float(rng.uniform(0.0, 1.2))
    for _ in range(int(rng.integers(3, 8))):
        length = float(rng.uniform(0.5, 2.5))
        below_db = float(rng.choice((0.0, 0.0, 3.0, 6.0, rng.uniform(9, 20))))
        tag = Tag(
            number(rng),
            depth=0.01 * 10 ** (-below_db / 20),
            angle_deg=float(rng.uniform(-90, 90)),
            start_cycles=float(rng.uniform(0, 4096)),
        )
        passes.append(Pass(tag, at, at + length, float(rng.choice((0.0, 0.02, 0.05)))))
        if rng.random() < 0.15:
            other = Tag(number(rng), depth=tag.depth * 0.6, angle_deg=float(rng.uniform(-90, 90)), start_cycles=float(rng.uniform(0, 4096)))
            passes.append(Pass(other, at + 0.1 * length, at + length * 0.9))
        at += length + float(rng.choice((0.06, 0.15, 0.4, 1.0, 2.5)))
    seconds = at + float(rng.uniform(0, 1.0))
    on = [(0.0, np.inf)]
    if rng.random() < 0.5:
        # Off between two passes that leave room for it, or behind the last.
        off = float(rng.uniform(0.5, 1.5))
        on = [(0.0, at + 0.1), (at + 0.1 + off, np.inf)]
        seconds += off + 1.0
    return Record(
        RATE_HZ, seconds, tuple(on), tuple(passes), noise_db, 0.01, FIELD_HZ + float(rng.uniform(-50, 50)), int(rng.integers(1 << 31)), full=1.5
    )


def overlaps(record, one):
    return any(other is not one and other.from_s < one.to_s and one.from_s < other.to_s for other in record.passes)


def judge(record, visits, checks, about):
    """Visits (begin, end, id) against the passes."""
    sent = {passing.tag.number.id for passing in record.passes}
    for begin, end, identity in visits:
        checks.that(identity in sent, f"{about}: {identity} from {begin} to {end} s was never sent")
    worst = 0.0
    for passing in record.passes:
        ebn0_db = record.ebn0_db + 20 * np.log10(passing.tag.depth / record.noise_for_depth)
        found = [visit for visit in visits if visit[2] == passing.tag.number.id]
        truth = f"{about}: {passing.tag.number.id} at {ebn0_db:.1f} dB from {passing.from_s:.3f} to {passing.to_s:.3f} s"
        checks.that(len(found) <= 1, f"{truth}: {len(found)} visits {found}")
        if ebn0_db < SURE_DB or passing.to_s - passing.from_s < SURE_S or overlaps(record, passing):
            continue
        if not checks.that(len(found) == 1, f"{truth}: no visit") or not found:
            continue
        begin, end, _ = found[0]
        worst = max(worst, abs(begin - passing.from_s), abs(end - passing.to_s))
        checks.near(begin, passing.from_s, WITHIN_S, f"{truth}: begin")
        checks.near(end, passing.to_s, WITHIN_S, f"{truth}: end")
    return worst


def listed(record, folder):
    """The rows of --visits."""
    path, rows = folder / "gate.raw", folder / "visits.csv"
    record.write(path)
    words = [PROGRAM, "decode", "--raw", "i16", "--rate", str(record.rate_hz), "--json", "--visits", str(rows), str(path)]
    done = subprocess.run(words, capture_output=True, text=True)
    with open(rows, newline="") as text:
        return [(float(row["from_s"]), float(row["to_s"]), row["id"]) for row in csv.DictReader(text)], json.loads(done.stdout)


def followed(record):
    """The events of --follow, the record written as fast as it is taken."""
    words = [PROGRAM, "decode", "--follow", "--raw", "i16", "--rate", str(RATE_HZ), "--json", "-"]
    process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    def write():
        for block in record.bytes():
            process.stdin.write(block)
        process.stdin.close()

    writer = threading.Thread(target=write)
    writer.start()
    events = [json.loads(line) for line in process.stdout]
    writer.join()
    return events, process.wait()


def check_field(record, events, checks, about):
    seconds = record.seconds
    due = [("field-there", begin) for begin, _ in record.on] + [("field-gone", end) for _, end in record.on if end < seconds - 0.3]
    told = [(event["event"], event["time_s"]) for event in events if event["event"].startswith("field-")]
    due.sort(key=lambda one: one[1])
    due = [one for one in due if one[1] < seconds - 0.3]
    if checks.that([kind for kind, _ in told] == [kind for kind, _ in due], f"{about}: field {told}, due {due}"):
        for (kind, time_s), (_, due_s) in zip(told, due):
            checks.near(time_s, due_s, FIELD_WITHIN_S, f"{about}: {kind}")


def check_findings(record, events, checks, about):
    raised = [event["code"] for event in events if event["event"] == "finding-raised"]
    for code in raised:
        checks.that(code in MAY_STAND, f"{about}: {code} raised")
    together = any(overlaps(record, passing) for passing in record.passes)
    if not together:
        checks.that("several-tags" not in raised, f"{about}: several-tags of tags one after the other")
    open_now = set()
    for event in events:
        if event["event"] == "finding-raised":
            checks.that(event["code"] not in open_now, f"{about}: {event['code']} raised twice")
            open_now.add(event["code"])
        elif event["event"] == "finding-withdrawn":
            checks.that(event["code"] in open_now, f"{about}: {event['code']} withdrawn, never raised")
            open_now.discard(event["code"])
    return raised


def latency(seconds, checks):
    """Real time at 1 MS/s: from the moment that the first samples of a tag were written to the line with its number."""
    rng = np.random.default_rng(5)
    passes, at = [], 1.0
    while at < seconds - 1.5:
        passes.append(Pass(Tag(number(rng), start_cycles=float(rng.uniform(0, 4096))), at, at + 0.8))
        at += 1.9 + float(rng.uniform(0, 0.4))
    record = Record(1e6, seconds, ((0.0, np.inf),), tuple(passes), 14.0, seed=9)
    blocks = list(record.bytes())
    words = [PROGRAM, "decode", "--follow", "--raw", "i16", "--rate", "1e6", "--json", "-"]
    environment = dict(os.environ, RAYON_NUM_THREADS="1")
    process = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment)
    written = {}

    def write():
        begun = time.monotonic()
        for index, block in enumerate(blocks):
            # A block's samples exist when the last of them was taken.
            wait = begun + (index + 1) * BLOCK_S - time.monotonic()
            if wait > 0:
                time.sleep(wait)
            process.stdin.write(block)
            process.stdin.flush()
        written["begun"] = begun
        process.stdin.close()

    written["begun"] = None
    writer = threading.Thread(target=write)
    begun = time.monotonic()
    writer.start()
    late = []
    for line in process.stdout:
        now = time.monotonic()
        event = json.loads(line)
        if event["event"] == "number-read" and not event["refined"]:
            passing = next((p for p in passes if p.tag.number.id == event["id"]), None)
            if checks.that(passing is not None, f"latency: {event['id']} was never sent"):
                late.append(now - begun - passing.from_s)
    writer.join()
    process.wait()
    checks.that(len(late) == len(passes), f"latency: {len(late)} of {len(passes)} numbers told")
    if late:
        checks.that(max(late) <= 0.5, f"latency: {max(late):.2f} s from a tag's first sample to its line, allowed are 0.5 s")
        print(f"latency at 1 MS/s: {np.mean(late):.2f} s on average, {max(late):.2f} s at most, {len(late)} tags", flush=True)


def partly_there(checks, draws=40):
    """A tag that comes or goes at any moment of a short record, strong or weak: one tag, at its own depth; several are never claimed. Of
    three telegrams at 6 dB each a number is read."""
    for index in range(draws):
        rng = np.random.default_rng((7, index))
        seconds = float(rng.choice((0.25, 0.4, 1.0)))
        moment = float(rng.uniform(0.05, seconds - 0.05))
        comes = bool(rng.integers(2))
        there_s = seconds - moment if comes else moment
        tag = Tag(number(rng), start_cycles=float(rng.uniform(0, 4096)), angle_deg=float(rng.uniform(-90, 90)))
        passing = Pass(tag, moment if comes else 0.0, seconds if comes else moment)
        ebn0_db = float(rng.choice((6.0, 10.0, 14.0, 20.0)))
        record = Record(500_000.0, seconds, passes=(passing,), ebn0_db=ebn0_db, seed=index)
        with tempfile.TemporaryDirectory() as folder:
            _, whole = listed(record, Path(folder))
        about = f"partly there {index}: {seconds} s, {'from' if comes else 'to'} {moment:.3f} s, {ebn0_db} dB"
        codes = [finding["code"] for finding in whole["findings"]]
        checks.that("several-tags" not in codes, f"{about}: several-tags")
        read = whole["readings"]
        bits = there_s * FIELD_HZ / 32
        if bits >= 3 * 128:
            if checks.that([one["id"] for one in read] == [tag.number.id], f"{about}: {read}"):
                # Four standard deviations of the amplitude in noise, and a percent for the bits at the end.
                within = 4 / np.sqrt(2 * bits * 10 ** (ebn0_db / 10)) + 0.01
                checks.near(read[0]["depth"], tag.depth, within * tag.depth, about)


def near_the_limit(checks):
    """Two passes from 8 dB above the limit of a second's look to 1 dB above it: one visit each and no other. Begin and end lie within a
    look; at 1 dB, where a look in four gives nothing, within two."""
    for above_db in (8.0, 4.0, 2.5, 1.0):
        # A second holds 32.8 telegrams, half of which are read at 3 dB folded.
        ebn0_db = 3.0 - 15.2 + above_db
        passes = (Pass(Tag(Number(national=5)), 1.3, 5.1), Pass(Tag(Number(national=6), start_cycles=777.0), 7.6, 11.5))
        record = Record(300_000.0, 13.5, passes=passes, ebn0_db=ebn0_db, seed=4, full=4.0)
        with tempfile.TemporaryDirectory() as folder:
            rows, _ = listed(record, Path(folder))
        about = f"{above_db} dB above the limit: {rows}"
        checks.that([row[2] for row in rows] == [passing.tag.number.id for passing in passes], about)
        for row, passing in zip(rows, passes):
            checks.near(row[0], passing.from_s, 1.1 if above_db > 2 else 2.1, about)
            checks.near(row[1], passing.to_s, 1.1 if above_db > 2 else 2.1, about)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--records", type=int, default=8)
    parser.add_argument("--latency", type=float, default=20.0)
    options = parser.parse_args()
    checks = Checks()
    worst_listed = worst_followed = 0.0
    raised = []
    for index in range(options.records):
        rng = np.random.default_rng((options.seed, index))
        record = gate(rng)
        with tempfile.TemporaryDirectory() as folder:
            rows, whole = listed(record, Path(folder))
        worst_listed = max(worst_listed, judge(record, rows, checks, f"record {index} listed"))
        if not any(overlaps(record, passing) for passing in record.passes):
            codes = [finding["code"] for finding in whole["findings"]]
            checks.that("several-tags" not in codes, f"record {index}: several-tags of tags one after the other")
        events, code = followed(record)
        visits = [(event["from_s"], event["to_s"], event["id"]) for event in events if event["event"] == "visit-ended"]
        worst_followed = max(worst_followed, judge(record, visits, checks, f"record {index} followed"))
        check_field(record, events, checks, f"record {index}")
        raised += check_findings(record, events, checks, f"record {index}")
        checks.that(code == 0 and events[-1]["event"] == "summary", f"record {index}: exit {code}, last line {events[-1:]}")
    print(f"worst end: {worst_listed:.3f} s listed, {worst_followed:.3f} s followed; raised: {sorted(set(raised))}", flush=True)
    near_the_limit(checks)
    partly_there(checks)
    if options.latency > 0:
        latency(options.latency, checks)
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

"""What may be said of a capture whose making is known, and what must be: the rules of `check_findings.py`.

Written before any answer of the program was looked at, from the README's table of findings and from what the samples can show.

Codes asked for here that the README's table does not have yet:

  gap                  samples are missing, or a buffer was lost: where, and how long if that can be told
  clock-drift          the field's frequency moves steadily through the record
  clock-hops           the field's frequency jumps between values
  sampling-jitter      the instants of sampling stray: noise in the field's phase only, as wide as the rate
  gain-steps           the recorder's gain changed in the record (no tuned antenna changes its level within a cycle)
  averaged-record      several sweeps were averaged: the field stays, the ripple is smeared
  peak-detect-record   the least and the largest value of each interval were kept instead of samples
  lossy-compression    the record went through a lossy transform coder
  wrong-rate           the stated rate (or the time column's unit) does not fit; with the rate that would
  wrong-centre         I/Q: the centre does not fit the tag's bit rate or the field; with the centre that would
  mirrored-iq          I/Q: I and Q are exchanged
  iq-image             I/Q: an image of the field from unequal I and Q
  dc-spike             I/Q: a line at the centre that is the receiver's own
  field-modulated      symmetric sidebands: something modulates the reader's own field
  beat                 two fields beat; `second-reader` with the rate and the level is as good
  field-briefly-on     the field is on in a small part of the record only: where
  bit-rate-64, bit-rate-50   biphase data at field/64, field/50
  phase-keyed-half     phase-keyed subcarrier at half the field's frequency

A capture is judged right, missed or false:
  false   something untrue was said: a number nobody sent, odds above the limit, a code whose cause is not in the capture, a
          value of field or ripple far from the truth, two statements that exclude each other; or the program broke
  right   nothing false, and every duty is met: the numbers that must be read are, and the causes that must be named are
  missed  the rest: silence where something was due
"""

from dataclasses import dataclass, field

import numpy as np

ODDS = 1e-5  # a number is called read at these odds or better (README, `certainty`)

KNOWN_CODES = set(
    """no-field nothing-to-read field-off-frequency record-too-short pulses-too-short rate-too-low clipping few-bits
    check-of-another-kind biphase-no-header telegram-does-not-fit tag-restarts several-tags antenna-mistuned second-reader
    in-band-transmitter supply-harmonics impulses stray-tone envelope-narrow hum field-unsteady ripple-too-weak no-ripple
    phase-only little-margin ripple-track-curved clock-off rate-assumed folded compared half-duplex-tag half-duplex-unread
    read-only-125-khz-tag fsk-125-khz-tag not-the-expected-number capture-note""".split()
)
NEW_CODES = set(
    """gap clock-drift clock-hops sampling-jitter gain-steps averaged-record peak-detect-record lossy-compression wrong-rate
    wrong-centre mirrored-iq iq-image dc-spike field-modulated beat field-briefly-on bit-rate-64 bit-rate-50
    phase-keyed-half""".split()
)
ALWAYS = {"capture-note"}  # a remark on the file, not a cause

READ = "every number read"
READ_ONE = "a number read"


@dataclass
class Due:
    """One thing that must be said: any of these codes, its evidence or text holding every value asked for."""

    codes: tuple
    near: tuple = ()  # groups of (value, how far off it may be); one of each group must be stated

    def __str__(self):
        return " or ".join(self.codes)


def due(*codes, near=()):
    return Due(tuple(codes), tuple(near))


@dataclass
class Truth:
    """What a capture holds."""

    numbers: list = field(default_factory=list)  # ids that were sent; any other one read is false
    dues: list = field(default_factory=list)
    may: set = field(default_factory=set)  # codes that are true of it, or that the samples cannot rule out
    field_hz: float | None = None  # as the file's rate shows it; None: not judged
    field_within_hz: float = 5.0
    depth: float | None = None
    angle_deg: float | None = None
    no_field: bool = False  # a field claimed is false
    refusal: str | None = None  # the word with which a file that is no record may be refused

    def allowed(self):
        return self.may | ALWAYS | {code for item in self.dues for code in item.codes}


@dataclass
class Verdict:
    name: str  # right, missed, false
    false: list
    missing: list


def numbers_in(value):
    """All numbers in a piece of JSON."""
    if isinstance(value, bool) or value is None:
        return
    if isinstance(value, (int, float)):
        yield float(value)
    elif isinstance(value, dict):
        for key, inner in value.items():
            if key != "false_alarm":
                yield from numbers_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from numbers_in(inner)


def met(item, told):
    for code in item.codes:
        for finding in told["findings"]:
            if finding["code"] != code:
                continue
            stated = np.array(list(numbers_in(finding["evidence"])))
            if all(any(np.any(np.abs(stated - value) <= off) for value, off in group) for group in item.near):
                return True
    return False


def folded_angle(degrees):
    return (degrees + 90) % 180 - 90


def judge(truth, told):
    """Verdict on one line of `decode --json` (None: it broke)."""
    if told is None:
        return Verdict("false", ["broken"], [])
    if "refused" in told:
        named = truth.refusal is not None and truth.refusal in told["refused"]
        return Verdict("right" if named else "false", [] if named else ["broken"], [])
    false = []
    codes = [finding["code"] for finding in told["findings"]]
    for code in sorted(set(codes)):
        if code not in KNOWN_CODES | NEW_CODES:
            false.append(f"{code} (no rule for it)")
        elif code not in truth.allowed():
            false.append(code)
    for reading in told["readings"]:
        if reading["id"] not in truth.numbers:
            false.append("a number nobody sent")
        elif reading["odds_wrong"] > ODDS:
            false.append("called read at long odds")
        elif reading["kind"] == "fdx-b" and reading["id"] == truth.numbers[0]:
            false += wrong_values(truth, reading)
    if told["readings"] and {"no-ripple", "no-field", "nothing-to-read"} & set(codes):
        false.append("read, and no ripple")
    if told["candidate"] and told["candidate"].get("id") in {r["id"] for r in told["readings"]}:
        false.append("read and candidate")
    if "check-of-another-kind" in codes and told["candidate"]:
        other = next(f for f in told["findings"] if f["code"] == "check-of-another-kind")
        if told["candidate"]["id"] not in str(other) and str(told["candidate"]["national"]) not in str(other):
            false.append("another check, and a candidate that contradicts it")
    seen = told["field"]
    if truth.no_field and seen["present"]:
        false.append("a field where none is")
    if truth.field_hz and seen["present"] and seen["frequency_hz"] is not None:
        if abs(seen["frequency_hz"] - truth.field_hz) > truth.field_within_hz:
            false.append("field's frequency")
    missing = [str(item) for item in truth.dues if not (met(item, told) or read_as_due(item, truth, told))]
    name = "false" if false else "missed" if missing else "right"
    return Verdict(name, false, missing)


def read_as_due(item, truth, told):
    read = {reading["id"] for reading in told["readings"]}
    if READ in item.codes:
        return set(truth.numbers) <= read
    return READ_ONE in item.codes and bool(read & set(truth.numbers))


def wrong_values(truth, reading):
    """Depth within 20 % and angle within 12 degrees: five deviations and more at the weakest number that can be read (a ripple
    known to 1/sqrt(2 * 128 * 2) = 4 % and 2.5 degrees at 3 dB folded). A value that is withheld is not wrong."""
    found = []
    if truth.depth and reading["depth"] is not None and not 0.8 < reading["depth"] / truth.depth < 1.25:
        found.append("depth")
    if truth.angle_deg is not None and reading["angle_deg"] is not None:
        if abs(folded_angle(reading["angle_deg"] - truth.angle_deg)) > 12:
            found.append("angle")
    return found

"""Bad input for each door of the program: a corpus, ways to break it, and the command that is given the result.

A target is a function (rng, folder) → the case: arguments and bytes that went in.
"""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shapes import SHAPES, make
import shapes_more  # noqa: F401  registers its shapes

ROOT = Path(__file__).resolve().parents[2]
LARGEST = 400_000  # bytes of a corpus file: what is found in a large one is found in a small one, sooner

WORDS = [
    "", "0", "-0", "1", "-1", "nan", "inf", "-inf", "1e308", "-1e308", "1e-308", "5e-324", "1e400", "18446744073709551616", "9223372036854775807",
    "-9223372036854775808", "4294967295", "4294967296", "65535", "0x10", "1_000", "1.", ".5", "1e", "+", "\u0663", "\0", "\u00e9", '"', "'", ",", ";", "\t", "=",
    "[", "]", "{", "}", "[[", "true", "null", "9" * 400, "a" * 5000, "1:2:0", "0:1:1e-300", "999:1", "1e9", "1e18", "0.5", "-0.5", "100", "12345",
]
NUMBERS = [0, 1, 2, 3, 7, 8, 15, 16, 24, 31, 32, 64, 127, 128, 255, 256, 32767, 32768, 65535, 65536, 2**31 - 1, 2**31, 2**32 - 1, 2**63 - 1, 2**63, 2**64 - 1]
OPTIONS = [
    ["--rate"], ["--from"], ["--to"], ["--centre"], ["--scale"], ["--odds"], ["--channel"], ["--expect"], ["--raw", "f32"], ["--raw", "i16"], ["--raw", "u8"],
]
LINK = ["--distance", "--offset", "--tilt", "--offset-y", "--bearing", "--seconds", "--odds", "--field-at", "--capacitor-for", "--turns-for", "--wrong-coil", "--tag"]
SYNTH = [
    "--id", "--retag", "--user", "--reserved", "--trailer", "--rate", "--field-hz", "--centre", "--depth", "--angle", "--level-db", "--start", "--ebn0", "--amplitude",
    "--offset", "--phase", "--bits", "--range", "--clock-ppm", "--pulse", "--kind",
]
AXES = ["noise-db", "ebn0", "depth", "angle", "seconds", "rate", "bits", "field-hz", "level-db", "clock-ppm"]


@dataclass
class Case:
    """One run: its arguments, and the bytes that it is given."""

    arguments: list
    size: int = 0
    may_take_s: float = 10.0


def pick(rng, things):
    return things[int(rng.integers(len(things)))]


def is_text(data):
    return b"\0" not in data[:512]


def broken_text(data, rng, others):
    tokens = re.split(rb"([\s,;:=\[\]{}\"]+)", data)
    for _ in range(int(rng.integers(1, 6))):
        at = int(rng.integers(len(tokens)))
        if rng.random() < 0.5:
            at = min(at, int(rng.integers(40)))  # what is at the top decides most
        match int(rng.integers(7)):
            case 0 | 1:
                tokens[at] = pick(rng, WORDS).encode()
            case 2:
                del tokens[at : at + int(rng.integers(1, 20))]
            case 3:
                tokens[at:at] = tokens[at : at + int(rng.integers(1, 200))] * int(rng.integers(1, 20))
            case 4:
                tokens = tokens[: at + 1]
            case 5:
                other = pick(rng, others)
                cut = int(rng.integers(len(other) + 1))
                tokens[at:at] = [other[cut : cut + int(rng.integers(1, 2000))]]
            case 6:
                tokens[at] = bytes(rng.integers(0, 256, int(rng.integers(1, 8)), dtype=np.uint8))
        tokens = tokens or [b""]
    return b"".join(tokens)


def broken_bytes(data, rng, others):
    data = bytearray(data)
    for _ in range(int(rng.integers(1, 8))):
        at = int(rng.integers(len(data) + 1))
        if rng.random() < 0.7:
            at = min(at, int(rng.integers(160)))
        match int(rng.integers(6)):
            case 0:
                data[at : at + 1] = bytes([int(rng.integers(256))])
            case 1 | 2:
                width = pick(rng, (1, 2, 4, 8))
                value = pick(rng, NUMBERS) % 256**width
                data[at : at + width] = value.to_bytes(width, pick(rng, ("little", "big")))
            case 3:
                del data[at : at + int(rng.integers(1, 64))]
            case 4:
                del data[at:]
            case 5:
                other = pick(rng, others)
                cut = int(rng.integers(len(other) + 1))
                data[at:at] = other[cut : cut + int(rng.integers(1, 256))]
    return bytes(data)


def broken(data, rng, others):
    return (broken_text if is_text(data) else broken_bytes)(data, rng, others)


class Corpus:
    """What is broken: files of the tree, and one of each layout of `shapes.py`."""

    def __init__(self, folder):
        paths = [*ROOT.glob("tests/hostile/*"), *ROOT.glob("tests/fixtures/grafts/*"), *ROOT.glob("waveforms/*.wav"), *ROOT.glob("waveforms/*.csv"), *ROOT.glob("waveforms/*.npy")]
        self.captures = {path.name: path.read_bytes() for path in sorted(paths)}
        for count, name in enumerate(SHAPES):
            place = folder / f"shape-{count}"
            place.mkdir()
            made = Path(make(name, place, 1).path)
            self.captures[made.name if made.suffix else f"capture-{count}"] = made.read_bytes()
        self.captures = {name: data for name, data in self.captures.items() if len(data) <= LARGEST}
        self.scenarios = [path.read_bytes() for path in sorted(ROOT.glob("waveforms/**/*.toml"))]
        self.tables = [path for path in sorted(ROOT.glob("waveforms/margins/*.csv"))]
        self.sheets = {}

    def capture(self, rng, folder):
        names = list(self.captures)
        name = pick(rng, names)
        data = broken(self.captures[name], rng, list(self.captures.values()))
        path = folder / name
        path.write_bytes(data)
        options = []
        if rng.random() < 0.3:
            option = pick(rng, OPTIONS)
            options = option if len(option) == 2 else [f"{option[0]}={pick(rng, WORDS)}".replace("\0", "")]
        return Case(["decode", str(path), "--json", *options], len(data))

    def samples(self, rng, folder):
        """Arrays that are no capture: tones at any place, steps, pulses, values without end, none."""
        count = int(2 ** rng.uniform(0, 16))
        # Below two samples a half bit a few bytes are minutes of field; `check_shapes.py` holds what becomes of those.
        rate = float(10 ** rng.uniform(4.3, 8)) if rng.random() < 0.9 else float(10 ** rng.uniform(0, 3.5))
        times = np.arange(count) / rate
        data = np.zeros(count)
        for _ in range(int(rng.integers(0, 4))):
            hz = pick(rng, (134_200.0, rate / 2, rate / 4, rate * rng.random(), 0.0))
            data += 10 ** rng.uniform(-6, 6) * np.cos(2 * np.pi * hz * times + rng.uniform(0, 7)) * (1 + 0.1 * np.sign(np.sin(2 * np.pi * hz / pick(rng, (16, 32, 64, 50)) * times)))
        for _ in range(int(rng.integers(0, 4))):
            begin, end = sorted(rng.integers(0, count + 1, 2))
            data[begin:end] = pick(rng, (0.0, np.nan, np.inf, -np.inf, 1e300, 3e38, 1e-45, 1.0, data[begin:end] * 1e6, data[begin:end][::-1]))
        if rng.random() < 0.3:
            data = np.clip(data, -1, 1)
        with np.errstate(all="ignore"):
            kind = pick(rng, ("f4", "f8", "i2", "u1", "c8"))
            made = (np.nan_to_num(data) if kind[0] in "iu" else data).astype(kind)
        path = folder / "samples.npy"
        np.save(path, made)
        options = [["--rate", repr(rate)], ["--rate", "500k"], [], ["--rate", repr(rate), "--usual-fields"]]
        chosen = pick(rng, options)
        # A field that is cut to pieces, folded, with others beside it, is looked at from all sides: ten times as long as it lasts.
        return Case(["decode", str(path), "--json", *chosen], path.stat().st_size, may_take_s=10.0 + 10.0 * count / rate if rate > 1e4 else 10.0)

    def scenario(self, rng, folder):
        data = broken_text(pick(rng, self.scenarios), rng, self.scenarios)
        path = folder / "bench.toml"
        path.write_bytes(data)
        if rng.random() < 0.5:
            return Case(["link", "--scenario", str(path)], len(data), may_take_s=20.0)
        return Case(["synth", "--scenario", str(path), "--set", "seconds=0.02", str(folder / "made.wav")], len(data), may_take_s=20.0)

    def table(self, rng, folder):
        source = pick(rng, self.tables)
        plan = Path(f"{source}.plan.json")
        data = [source.read_bytes(), plan.read_bytes()]
        which = int(rng.integers(3))
        broken_ones = [broken_text(part, rng, data) if which in (place, 2) else part for place, part in enumerate(data)]
        path = folder / "table.csv"
        path.write_bytes(broken_ones[0])
        Path(f"{path}.plan.json").write_bytes(broken_ones[1])
        return Case(["margin", "--gather", str(path), "--json"], sum(map(len, broken_ones)))

    def axis(self, rng, folder):
        values = ":".join(pick(rng, WORDS) for _ in range(3)) if rng.random() < 0.7 else ",".join(pick(rng, WORDS) for _ in range(int(rng.integers(1, 5))))
        name = pick(rng, AXES) if rng.random() < 0.8 else pick(rng, WORDS)
        # Values may be many, and each may rightly take its time: what is asked here is what becomes of the words.
        return Case(["margin", f"--vary={name}={values}".replace("\0", ""), "--trials=1", "--part=1/1000000", "--seconds=0.04"], may_take_s=60.0)

    def answers(self, rng, folder):
        names = ("answers.csv", "answer-sheet.csv")
        which = int(rng.integers(3))
        for place, name in enumerate(names):
            data = self.sheets[name]
            (folder / name).write_bytes(broken_text(data, rng, list(self.sheets.values())) if which in (place, 2) else data)
        return Case(["lesson", "--grade", str(folder / names[0]), "--key", str(folder / names[1])], sum(map(len, self.sheets.values())))

    def options(self, rng, folder):
        command, names, rest = pick(rng, (("link", LINK, []), ("synth", SYNTH, ["--seconds=0.02", str(folder / "made.wav")])))
        words = [f"{pick(rng, names)}={pick(rng, WORDS)}".replace("\0", "") for _ in range(int(rng.integers(1, 4)))]
        return Case([command, *words, *rest], may_take_s=20.0)

    def telegram(self, rng, folder):
        words = [pick(rng, WORDS).replace("\0", "") if rng.random() < 0.5 else "".join(pick(rng, "01f.:x ") for _ in range(int(rng.integers(1, 140)))) for _ in range(int(rng.integers(1, 3)))]
        return Case(["telegram", "--", *words])

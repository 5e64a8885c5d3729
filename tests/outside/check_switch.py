"""What `fieldripple synth --kind load` and `--kind jam` write, against other tools.

The load's levels are those of a telegram encoded from the standards' tables (`fdxb.py`), in every form of file. Put into a circuit as a
switch across a coil that hears a reader's antenna (ngspice), they leave a ripple on the antenna's voltage in which `decode` reads the
number. The interference has the lines that its scenario asks for, by numpy's transform.

Needs ngspice.
"""

import json
import os
import subprocess
import sys
import tempfile
import wave
from pathlib import Path

import numpy as np

from check_spice import POINTS, bench, waveform
from fdxb import FIELD_HZ, HALF_BIT_CYCLES, Number, Tag
from report import Checks

PROGRAM = str(Path(os.environ.get("FIELDRIPPLE", "target/release/fieldripple")).resolve())  # it runs in another folder
STEPS = 200  # of ngspice a field cycle: what is read is a ripple of a few per cent


def made(folder, name, *options):
    subprocess.run([PROGRAM, "synth", name, *options], cwd=folder, check=True, capture_output=True)
    return Path(folder) / name


def levels(path):
    """What is in the file, a row a channel."""
    if path.suffix == ".wav":
        with wave.open(str(path)) as file:
            values = np.frombuffer(file.readframes(file.getnframes()), "<i2").reshape(-1, file.getnchannels())
        return values.T / 32767
    if path.suffix == ".csv":
        return np.loadtxt(path, delimiter=",", skiprows=1)[:, 1:].T
    if path.suffix == ".npy":
        values = np.load(path)
        return values.reshape(len(values), -1).T
    return np.fromfile(path, "<i2").reshape(1, -1) / 32767


def sent(number, cycles):
    """Load states (1 closed) so many field cycles after the start, which is with the load closed."""
    tag = Tag(number, depth=1.0, start_cycles=0.0)
    states = tag.states(np.asarray(cycles) + 1e-9)
    return (states * np.sign(tag.states(np.array([1.0]))[0]) + 1) / 2


def check_levels(checks, folder):
    rng = np.random.default_rng(77)
    for trial, national in enumerate(rng.integers(1, 1 << 38, 6)):
        number = Number(999, int(national))
        identity = ("--id", f"999:{national}", "--kind", "load")
        for ending in ("wav", "csv", "npy", "raw"):
            got = levels(made(folder, f"load{trial}.{ending}", *identity))[0]
            checks.that(len(got) in (4096, 8192), f"{ending}: {len(got)} samples a round")
            checks.that(np.abs(got - sent(number, np.arange(len(got)))).max() < 1e-4, f"{ending}: levels of {national}")
            again = sent(number, len(got) + np.arange(4096))
            checks.that(np.array_equal(again, sent(number, np.arange(4096))), f"{ending}: the round closes")
        rows = (Path(made(folder, f"load{trial}.txt", *identity))).read_text().splitlines()
        halves = np.array([int(row) for row in rows if not row.startswith("#")])
        expected = sent(number, HALF_BIT_CYCLES * (np.arange(len(halves)) + 0.5))
        checks.that(np.array_equal(halves, expected), f"txt: half bits of {national}")
        # Another rate, several rounds, a start.
        got = levels(made(folder, "other.npy", *identity, "--rate", "500k", "--seconds", "0.1", "--start", "333"))[0]
        cycles = np.arange(50_000) * FIELD_HZ / 500_000 - 333
        edges = np.abs(cycles / 16 - np.round(cycles / 16)) < 1e-6
        checks.that(np.array_equal(got[~edges], sent(number, cycles)[~edges]), f"500 kS/s: levels of {national}")


def check_circuit(checks, folder):
    number = Number(999, 271828182845)
    path = made(folder, "switch.csv", "--id", f"999:{number.national}", "--kind", "load", "--repeats", "2")
    states = levels(path)[0]
    parts = bench("switch", k=0.01)
    cycles = 5200
    at = np.nonzero(np.diff(np.concatenate([[0.0], states[:cycles]])))[0]
    parts["edges"] = [[at_cycle / FIELD_HZ, int(states[at_cycle])] for at_cycle in at if at_cycle > 0]
    parts["cycles"] = cycles
    parts["field_off_s"] = 2 * cycles / FIELD_HZ
    values = waveform(parts, STEPS)[64 * POINTS::8]
    np.save(Path(folder) / "antenna.npy", values.astype(np.float32))
    rate = FIELD_HZ * POINTS / 8
    done = subprocess.run([PROGRAM, "decode", "antenna.npy", "--rate", str(rate), "--json"], cwd=folder, capture_output=True, text=True)
    told = json.loads(done.stdout)
    read = [reading["id"] for reading in told["readings"]]
    checks.that(read == [number.id], f"antenna with the load across a coil: {read}, {[f['code'] for f in told['findings']]}")
    if read:
        print(f"ripple of the switched load at the antenna: {100 * told['readings'][0]['depth']:.2f} % of the field")


def check_interference(checks, folder):
    settings = ["--set", "tone.1.frequency_hz=134250", "--set", "tone.1.amplitude_v=2", "--set", "tone.2.frequency_hz=120000",
                "--set", "tone.2.amplitude_v=1"]
    path = made(folder, "jam.wav", "--kind", "jam", "--seconds", "0.2", *settings)
    lines = np.abs(np.fft.rfft(levels(path)[0])) * 2 / 200_000
    for hertz, share in ((134_250, 2 / 3), (120_000, 1 / 3)):
        checks.near(lines[round(hertz * 0.2)], share, 1e-3, f"line at {hertz} Hz")
        lines[round(hertz * 0.2)] = 0
    checks.that(lines.max() < 1e-4, f"nothing beside: {lines.max()}")
    truth = json.loads((Path(folder) / "jam.wav.truth.json").read_text())
    checks.near(truth["interference"]["full_scale_v"], 3.0, 1e-12, "full scale")
    path = made(folder, "both.wav", "--kind", "load", "--id", "999:5", "--seconds", "0.2", *settings)
    load, air = levels(path)
    alone = levels(made(folder, "alone.wav", "--kind", "load", "--id", "999:5", "--seconds", "0.2", "--rate", "1M"))[0]
    checks.that(np.array_equal(load, alone), "the load beside interference is the load alone")
    checks.that(np.array_equal(air, levels(Path(folder) / "jam.wav")[0]), "interference beside a load is interference alone")


def main():
    checks = Checks()
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        check_levels(checks, folder)
        check_interference(checks, folder)
        check_circuit(checks, folder)
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

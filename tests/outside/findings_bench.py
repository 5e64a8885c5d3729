"""A bench drawn at random for `check_findings.py`: field, tags, noise, recorder and file, in numpy and without the crate.

Conventions as in `fdxb.py`. Levels of what is added are relative to the field; the whole is scaled by its amplitude at the end.
"""

from dataclasses import dataclass, field

import numpy as np

import writers
from fdxb import CYCLES_PER_BIT, FIELD_HZ, TELEGRAM_CYCLES, quantise, random_tag
from findings_rules import READ, Truth, due

# 134.2 kHz +-13.42 Hz, the tolerance of the standard (from memory).
TOLERANCE_HZ = 13.42
RATES_HZ = (400_000.0, 500_000.0, 625_000.0, 1_000_000.0)


@dataclass
class Capture:
    """Files to decode with some arguments, and the truth."""

    files: list
    arguments: list
    truth: Truth
    about: str = ""


def log_uniform(rng, low, high):
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def signed(rng, low, high):
    return float(rng.choice((-1, 1)) * rng.uniform(low, high))


@dataclass
class Scene:
    """One record of a field with tags in it. `noise` is the deviation of a sample (a quadrature) relative to the field."""

    rng: np.random.Generator
    rate_hz: float
    seconds: float
    field_hz: float
    amplitude: float
    phase: float
    tags: list = field(default_factory=list)
    ebn0_db: float | None = None
    noise: float = 0.0
    kind: str = "real"
    centre_hz: float = 0.0
    truth: Truth = field(default_factory=Truth)

    @property
    def times(self):
        return np.arange(int(round(self.rate_hz * self.seconds))) / self.rate_hz

    @property
    def telegrams(self):
        return self.seconds * self.field_hz / TELEGRAM_CYCLES

    @property
    def cycles(self):
        return self.field_hz * self.times

    def ripple(self, cycles):
        """r(t) / A0 of all tags on a clock of field cycles."""
        total = np.zeros(cycles.size, dtype=complex)
        for tag in self.tags:
            total += tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * tag.states(cycles + tag.start_cycles)
        return total

    def set_noise(self, rms):
        """For the Eb/N0 of a ripple of this rms; real samples hold half the power of their phasor."""
        energy = rms**2 * CYCLES_PER_BIT / self.field_hz / (2 if self.kind == "real" else 1)
        self.noise = float(np.sqrt(energy / 10 ** (self.ebn0_db / 10) * self.rate_hz / 2))

    def samples(self, relative, cycles=None, beside=0.0):
        """The record of a phasor relative to the field, with noise, in volts; `beside` is added to it in units of the field."""
        cycles = self.cycles if cycles is None else cycles
        if self.kind == "envelope":
            wave = np.abs(relative)
        else:
            wave = relative * np.exp(1j * (2 * np.pi * (cycles - self.centre_hz * self.times) + self.phase))
            wave = wave if self.kind == "iq" else wave.real
        wave = wave + beside + self.noise * self.rng.standard_normal(wave.size)
        if self.kind == "iq":
            wave = wave + 1j * self.noise * self.rng.standard_normal(wave.size)
        return self.amplitude * wave

    def plain(self, **beside):
        return self.samples(1 + self.ripple(self.cycles), **beside)


def scene(rng, tag=True, **given):
    """An ordinary bench. `tag`: True for one of random depth and angle, or its settings, or None for a bare field."""
    settings = dict(
        rate_hz=float(rng.choice(RATES_HZ)), seconds=log_uniform(rng, 0.07, 0.35), field_hz=FIELD_HZ + rng.uniform(-TOLERANCE_HZ, TOLERANCE_HZ),
        amplitude=log_uniform(rng, 0.05, 1.0), phase=float(rng.uniform(0, 2 * np.pi)),
    )
    ebn0_db = rng.uniform(10, 25)
    noise = log_uniform(rng, 1e-3, 2e-2)
    made = Scene(rng, **(settings | {k: v for k, v in given.items() if k in Scene.__dataclass_fields__}))
    made.truth = Truth(field_hz=made.field_hz)
    if tag is None:
        made.noise = given.get("noise", noise)
        made.truth.may |= {"no-ripple"}
    else:
        drawn = dict(depth=log_uniform(rng, 0.003, 0.05), angle_deg=float(rng.uniform(-70, 70)))
        if rng.random() < 0.5:  # a tank of Q 5 to 20: straight tracks
            drawn["bandwidth_hz"] = float(rng.uniform(4000, 14000))
        made.ebn0_db = given.get("ebn0_db", ebn0_db)
        add_tag(made, **(drawn | (tag if isinstance(tag, dict) else {})))
        made.truth.dues.append(due(READ))
    frequency_codes(made.truth, made.field_hz)
    if made.kind == "real" and made.field_hz > made.rate_hz / 2:
        made.truth.may.add("folded")
    return made


def add_tag(made, **settings):
    """Puts a tag into the scene; the first one sets the noise, and what is true of a ripple like it."""
    tag = random_tag(made.rng, **settings)
    made.tags.append(tag)
    made.truth.numbers.append(tag.number.id)
    if abs(tag.angle_deg) > 73:  # an amplitude receiver sees cos(angle): a quarter at 75.5 degrees
        made.truth.may.add("phase-only")
    if len(made.tags) > 1:
        return tag
    seen = np.cos(np.radians(tag.angle_deg)) if made.kind == "envelope" else 1.0
    response = tag.states(np.arange(0, TELEGRAM_CYCLES, 1.0) + tag.start_cycles)
    smooth = float(np.sqrt(np.mean(np.abs(response) ** 2)))
    made.set_noise(tag.depth * smooth * seen)
    made.truth.depth = tag.depth * smooth if made.kind != "envelope" else None
    curved = bool(tag.bandwidth_hz) and abs(tag.detune_hz) > 0.1 * tag.bandwidth_hz
    made.truth.angle_deg = tag.angle_deg if made.kind != "envelope" and not curved else None
    # Boundary signs want 3 dB folded; what a smoothed edge loses beyond its energy is 1 to 4 dB (design.md, 2.1).
    folded_db = made.ebn0_db + 10 * np.log10(max(made.telegrams, 0.5)) - (4 if tag.bandwidth_hz else 0)
    if folded_db < 8.5:
        made.truth.may.add("little-margin")
    if folded_db < 5:
        made.truth.may |= {"ripple-too-weak", "no-ripple"}
    if curved:
        made.truth.may |= {"ripple-track-curved", "phase-only"}
    return tag


def frequency_codes(truth, shown_hz):
    """`clock-off` from 20 to 134 Hz, `field-off-frequency` beyond (README); 3 Hz about the limits are left open."""
    off = abs(shown_hz - FIELD_HZ)
    if 17 < off < 137:
        truth.may.add("clock-off")
    if off > 131:
        truth.may.add("field-off-frequency")


def two_reader_codes(made, offset_hz, level):
    """Duty to name another field that makes at least two beats in the record, with its rate (or frequency) and level."""
    beats = offset_hz * made.seconds
    if level > 0.02:
        made.truth.may.add("field-unsteady")
    made.truth.may |= {"second-reader", "beat"}
    if abs(beats) < 2:
        return
    # Half a bin, or 2 %; the level in volts, relative, in percent or dB.
    off = max(0.5 / made.seconds, 0.02 * abs(offset_hz))
    rate = [(value, off) for value in (offset_hz, -offset_hz, made.field_hz + offset_hz)]
    decibel = 20 * np.log10(level)
    stated = [(level * unit, 0.25 * level * unit) for unit in (1.0, 100.0, made.amplitude)] + [(decibel, 1.9), (-decibel, 1.9)]
    made.truth.dues.append(due("second-reader", "beat", near=(rate, stated)))


def store(made, samples, folder, name="capture", form=None, full=None, bits=None, rate_hz=None):
    """Writes samples as WAV, NPY or text; returns files and arguments. `rate_hz` is what the file states, where that is not so."""
    rng, rate_hz = made.rng, rate_hz or made.rate_hz
    if np.iscomplexobj(samples):
        form = form or "npy"
    if form is None:
        form = str(rng.choice(("wav", "npy", "text"), p=(0.6, 0.2, 0.2))) if samples.size <= 60_000 else "wav"
    arguments = []
    if form == "wav":
        path = folder / f"{name}.wav"
        full = full or 1.3 * float(np.max(np.abs(samples)))
        writers.wav(path, samples, rate_hz, 16, full)
    elif form == "npy":
        path = folder / f"{name}.npy"
        writers.npy(path, samples)
        arguments = ["--rate", f"{rate_hz:.6f}"]
        if np.iscomplexobj(samples):
            arguments += ["--centre", f"{made.centre_hz:.3f}"]
    else:
        path = folder / f"{name}.csv"
        style = str(rng.choice(("plain", "preamble", "units", "tabs", "decimal comma")))
        writers.TEXT_STYLES[style](path, samples, rate_hz)
    return [str(path)], arguments


def capture(made, samples, folder, **how):
    files, arguments = store(made, samples, folder, **how)
    about = f"{made.rate_hz:.0f} S/s, {made.seconds:.3f} s, field {made.field_hz:.1f} Hz, noise {made.noise:.2e}, tags {made.tags}"
    return Capture(files, arguments, made.truth, about)


def coarse(made, samples, bits, share):
    """A digitiser of few bits whose range the field fills to `share`."""
    full = made.amplitude / share
    return quantise(samples, bits, full)

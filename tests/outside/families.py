"""Families of random captures: each function makes one capture (or several pieces) in a folder and says what is in it."""

from dataclasses import dataclass, field

import numpy as np

import writers
from fdxb import (
    FIELD_HZ,
    TELEGRAM_CYCLES,
    Bench,
    Pulses,
    pin_edges,
    quantise,
    random_tag,
    read_only_word,
    replace,
    ripple_capture,
    sampled_pin,
)

EBN0_DB = 18.0
FULL = 1.25  # digitiser and WAV range in volts where nothing else is said


@dataclass
class Case:
    """Files to decode with some arguments, and the truth; None means unknown or not to be compared."""

    files: list
    arguments: list = field(default_factory=list)
    number: object = None  # None: nothing may be read
    kind: str | None = None
    ebn0_db: float | None = None
    depth: float | None = None
    angle_deg: float | None = None
    field_hz: float | None = None
    field_present: bool | None = True
    bench: Bench | None = None
    about: str = ""


def _case(bench, tag, files, arguments=(), kind="direct", **truth):
    return Case(
        [str(f) for f in files],
        [str(a) for a in arguments],
        tag.number,
        kind,
        truth.pop("ebn0_db", bench.ebn0_db),
        truth.pop("depth", tag.depth),
        truth.pop("angle_deg", tag.angle_deg),
        truth.pop("field_hz", bench.field_hz / (1 + bench.clock_error)),
        bench=bench,
        about=f"{bench} {tag}",
        **truth,
    )


def _bench(rng, **settings):
    drawn = dict(phase_deg=float(rng.uniform(0, 360)), field_hz=float(FIELD_HZ + rng.uniform(-13.42, 13.42)), ebn0_db=EBN0_DB)
    return Bench(**(drawn | settings))


def _wav_case(folder, bench, tag, rng, kind="direct", full=FULL, bits=16):
    path = folder / "capture.wav"
    writers.wav(path, ripple_capture(bench, tag, rng).samples, bench.rate_hz, bits, full)
    return _case(bench, tag, [path], kind=kind)


def direct(rng, folder, trial):
    """500 kS/s, 0.1 s, depth 1 %; WAV, NPY and raw integers in turn."""
    bench, tag = _bench(rng), random_tag(rng)
    if trial % 3 == 0:
        return _wav_case(folder, bench, tag, rng)
    samples = ripple_capture(bench, tag, rng).samples
    if trial % 3 == 1:
        writers.npy(folder / "capture.npy", samples)
        return _case(bench, tag, [folder / "capture.npy"], ["--rate", bench.rate_hz])
    writers.raw_i16(folder / "capture.raw", samples, FULL)
    return _case(bench, tag, [folder / "capture.raw"], ["--raw", "i16", "--rate", bench.rate_hz])


def eight_bits(rng, folder, trial):
    """Depth 0.3 % is 0.35 steps of an 8-bit digitiser ranged to 1.1 times the field.

    Its step of 2.2/256 makes white noise of step/sqrt(12): alone Eb/N0 = 16.4 dB at 500 kS/s (18 dB cannot be had),
    19.4 dB at 1 MS/s and 22.4 dB at 2 MS/s. At 2 MS/s noise is added until both together make 18 dB.
    """
    bench = _bench(rng, rate_hz=2e6, bits=8, range=1.1, count_quantiser=True)
    return _wav_case(folder, bench, random_tag(rng, depth=0.003), rng, full=1.1, bits=8)


def pure_phase(rng, folder, trial):
    return _wav_case(folder, _bench(rng), random_tag(rng, angle_deg=90.0), rng)


def detuned_field(rng, folder, trial):
    """The field up to 1.7 kHz off; the tag divides what there is."""
    return _wav_case(folder, _bench(rng, field_hz=float(FIELD_HZ + rng.uniform(-1700, 1700))), random_tag(rng), rng)


def clock_off(rng, folder, trial):
    """The recorder's clock 0.3 % slow or fast."""
    return _wav_case(folder, _bench(rng, clock_error=float(rng.choice((-0.003, 0.003)))), random_tag(rng), rng)


def offset(rng, folder, trial):
    """A steady voltage as large as the field's amplitude."""
    return _wav_case(folder, _bench(rng, dc=float(rng.choice((-1.0, 1.0)))), random_tag(rng), rng, full=2.5)


def folded_100k(rng, folder, trial):
    """The field folds to 34.2 kHz, same way up."""
    bench = _bench(rng, rate_hz=100_000.0, seconds=float(rng.uniform(0.2, 0.3)))
    return _wav_case(folder, bench, random_tag(rng), rng, kind="folded")


def folded_192k(rng, folder, trial):
    """The field folds to 57.8 kHz, mirrored."""
    bench = _bench(rng, rate_hz=192_000.0, seconds=float(rng.uniform(0.2, 0.3)))
    return _wav_case(folder, bench, random_tag(rng), rng, kind="folded")


def envelope(rng, folder, trial):
    """A rectified capture at 48 kS/s, 0.5 s, depth 5 %; every other one has lost its mean in a coupling capacitor."""
    bench = _bench(rng, kind="envelope", rate_hz=48_000.0, seconds=0.5)
    tag = random_tag(rng, depth=0.05, angle_deg=0.0)
    samples = ripple_capture(bench, tag, rng).samples
    truth = {}
    if trial % 2:
        samples, truth = (samples - samples.mean()) * 10, {"depth": None}
    path = folder / "capture.wav"
    writers.wav(path, samples, bench.rate_hz, 16, FULL)
    return _case(bench, tag, [path], kind="envelope", angle_deg=None, field_hz=None, field_present=None, **truth)


def iq(rng, folder, trial):
    """Complex samples at 250 kS/s around 134.2 or 130 kHz: NPY, or raw integers."""
    bench = _bench(rng, kind="iq", rate_hz=250_000.0, centre_hz=(134_200.0, 130_000.0)[trial % 2])
    tag = random_tag(rng)
    samples = ripple_capture(bench, tag, rng).samples
    arguments = ["--rate", bench.rate_hz, "--centre", bench.centre_hz]
    if trial % 4 < 2:
        writers.npy(folder / "capture.npy", samples)
        return _case(bench, tag, [folder / "capture.npy"], arguments, "iq")
    writers.raw_i16(folder / "capture.raw", samples, FULL)
    return _case(bench, tag, [folder / "capture.raw"], ["--raw", "ci16", *arguments], "iq")


def pulsed(rng, folder, trial):
    """50 ms on, 3 to 20 ms off (timing from memory of ISO 11785); a fresh telegram 0.5 to 5 ms after each start."""
    pulses = Pulses(
        off_s=float(rng.uniform(0.003, 0.020)),
        tau_s=float(rng.uniform(0.0001, 0.0003)),
        tag_delay_s=float(rng.uniform(0.0005, 0.005)),
        lead_s=float(rng.uniform(0, 0.05)),
    )
    return _wav_case(folder, _bench(rng, seconds=0.3, pulses=pulses), random_tag(rng), rng)


def logic(rng, folder, trial):
    """A demodulator's pin: a list of edges, or sampled at 50 kS/s to 1 MS/s; each edge up to some microseconds early or late."""
    seconds = 0.1
    tag = random_tag(rng, start_cycles=float(rng.uniform(0, TELEGRAM_CYCLES)))
    field_hz = float(FIELD_HZ + rng.uniform(-13.42, 13.42))
    start, edges = pin_edges(tag, seconds, field_hz, float(rng.uniform(0, 4e-6)), rng)
    case = Case([], [], tag.number, "logic", field_present=None, about=f"field {field_hz} {tag}")
    if trial % 3 == 0:
        path = folder / "edges.csv"
        writers.edge_list(path, start, edges)
    else:
        rate = float(np.round(10 ** rng.uniform(np.log10(50e3), 6), -2))
        pin = sampled_pin(start, edges, rate, seconds)
        case.about = f"rate {rate} {case.about}"
        if trial % 3 == 1:
            path = folder / "pin.wav"
            writers.wav(path, 0.9 * pin, rate, 8, 1.0)
        else:
            path = folder / "pin.npy"
            writers.npy(path, pin.astype(float))
            case.arguments = ["--rate", str(rate)]
    case.files = [str(path)]
    return case


def text(rng, folder, trial):
    """Delimited text in the forms instruments write."""
    style = list(writers.TEXT_STYLES)[trial % len(writers.TEXT_STYLES)]
    bench, tag = _bench(rng), random_tag(rng)
    path = folder / "capture.csv"
    writers.TEXT_STYLES[style](path, ripple_capture(bench, tag, rng).samples, bench.rate_hz)
    truth = {"field_hz": None} if style == "short time" else {}  # four digits of time: the rate is known to 1e-4
    arguments = ["--rate", bench.rate_hz] if style == "values" else []
    case = _case(bench, tag, [path], arguments, **truth)
    case.about = f"style {style} {case.about}"
    return case


def no_number(rng, folder, trial):
    """Noise alone; a field without a tag; a 125 kHz tag sending Manchester code, 64 cycles a bit."""
    path = folder / "capture.wav"
    what = ("noise", "field alone", "125 kHz tag")[trial % 3]
    bench = _bench(rng, ebn0_db=None, noise_sigma=float(10 ** rng.uniform(-3, -1)), seconds=float(rng.uniform(0.1, 0.3)))
    if what == "noise":
        bench = replace(bench, amplitude=0.0)
    if what == "125 kHz tag":
        bench = replace(bench, field_hz=125_000.0, noise_sigma=0.01)
    samples = ripple_capture(bench, (), rng).samples
    if what == "125 kHz tag":
        word = np.array(read_only_word(int(rng.integers(0, 1 << 40))))
        times = np.arange(samples.size) / bench.rate_hz
        half = np.floor(times * bench.field_hz / 32 + rng.uniform(0, 128)).astype(int)
        states = np.where(half % 2 == 0, 1, -1) * (2 * word[half // 2 % 64] - 1)
        phasor = 0.02 * states * np.exp(1j * (2 * np.pi * bench.field_hz * times + np.radians(bench.phase_deg)))
        samples = samples + phasor.real
    writers.wav(path, samples, bench.rate_hz, 16, FULL)
    present = {"noise": False, "field alone": True, "125 kHz tag": None}[what]
    return Case([str(path)], field_present=present, about=f"{what} {bench}")


def covered_starts(rng, pieces, length):
    """Places in the telegram at which pieces of `length` cycles start, so that together they hold the whole of it.

    Three arcs of 0.655 of a circle leave a gap in 36 % of random throws; where bits were never recorded no one can read them.
    """
    while True:
        starts = np.sort(rng.uniform(0, TELEGRAM_CYCLES, pieces))
        gaps = np.diff(np.append(starts, starts[0] + TELEGRAM_CYCLES))
        if gaps.max() < length - 64:  # the bits at a piece's ends are cut
            return rng.permutation(starts)


def joined(rng, folder, trial):
    """Three records of 10 000 points at 500 kS/s, 84 of 128 bits each, every one starting anywhere in the telegram."""
    bench, tag = _bench(rng, seconds=0.02), random_tag(rng)
    files = []
    for place, start in enumerate(covered_starts(rng, 3, bench.seconds * bench.field_hz)):
        piece = replace(tag, start_cycles=float(start), sign=int(rng.choice((-1, 1))))
        samples = ripple_capture(replace(bench, phase_deg=float(rng.uniform(0, 360))), piece, rng).samples
        files.append(folder / f"piece{place}.wav")
        writers.wav(files[-1], samples, bench.rate_hz, 16, FULL)
    return _case(bench, tag, files, ["--join"])


def difference(rng, folder, trial):
    """Two probes on either end of the antenna; mains hum, a converter's tone and an offset are common to both."""
    bench, tag = _bench(rng), random_tag(rng)
    samples = ripple_capture(bench, tag, rng).samples
    times = np.arange(samples.size) / bench.rate_hz
    common = 0.3 + 0.5 * np.cos(2 * np.pi * 50 * times + rng.uniform(0, 6)) + 0.2 * np.cos(2 * np.pi * 135_600 * times)
    path = folder / "capture.wav"
    writers.wav(path, [common + samples / 2, common - samples / 2], bench.rate_hz, 16, 2.0)
    return _case(bench, tag, [path], ["--channel", "1-2"])


def four_channels(rng, folder, trial):
    """Only one of four channels sees the field: the others hold noise, mains hum and a switching edge."""
    bench, tag = _bench(rng), random_tag(rng)
    samples = ripple_capture(bench, tag, rng).samples
    times = np.arange(samples.size) / bench.rate_hz
    channels = [
        0.01 * rng.standard_normal(samples.size),
        np.cos(2 * np.pi * 50 * times) + 0.001 * rng.standard_normal(samples.size),
        np.where(times < rng.uniform(0, bench.seconds), 0.0, 1.0) + 0.001 * rng.standard_normal(samples.size),
    ]
    place = trial % 4
    channels.insert(place, samples)
    path = folder / "capture.wav"
    writers.wav(path, [quantise(c, 12, FULL) if c is not samples else c for c in channels], bench.rate_hz, 16, FULL)
    case = _case(bench, tag, [path])
    case.about = f"channel {place + 1} {case.about}"
    return case


FAMILIES = {
    "a": ("direct 500 kS/s", direct),
    "b": ("8 bits, depth 0.3 %", eight_bits),
    "c": ("pure phase", pure_phase),
    "d": ("field +-1.7 kHz", detuned_field),
    "e": ("sample clock 0.3 %", clock_off),
    "f": ("DC as large as field", offset),
    "g": ("folded, 100 kS/s", folded_100k),
    "h": ("folded, 192 kS/s", folded_192k),
    "i": ("envelope, 48 kS/s", envelope),
    "j": ("I/Q, 250 kS/s", iq),
    "k": ("pulsed field", pulsed),
    "l": ("demodulator pin", logic),
    "m": ("text", text),
    "n": ("no number in it", no_number),
    "o": ("three pieces joined", joined),
    "p": ("difference of channels", difference),
    "q": ("one of four channels", four_channels),
}

__all__ = ["Case", "EBN0_DB", "FAMILIES"]

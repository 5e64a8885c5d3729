"""125 kHz tags, and records of something else than a field."""

import numpy as np

import writers
from fdxb import FIELD_HZ, load_fsk_states, load_samples, manchester_states, read_only_word
from findings_bench import Capture, Scene, Truth, capture, due, log_uniform, scene


def _loaded(rng, folder, states, field_hz, *dues, may=()):
    """A tag of another kind, its load one state a field cycle; Eb/N0 of some 20 dB for 64 cycles."""
    rate, seconds, depth = float(rng.choice((500_000, 625_000, 1_000_000))), rng.uniform(0.15, 0.3), log_uniform(rng, 0.01, 0.05)
    times = np.arange(int(rate * seconds)) / rate
    wave = load_samples(np.asarray(states), times, field_hz, rng.uniform(0, 4096), depth, rng.uniform(-70, 70), rng.uniform(0, 360))
    wave = wave + np.sqrt(depth**2 * 64 / field_hz / 10 ** (rng.uniform(17, 22) / 10) * rate / 4) * rng.standard_normal(times.size)
    made = Scene(rng, rate, seconds, field_hz, log_uniform(rng, 0.1, 1), 0.0)
    made.truth = Truth(dues=list(dues), may=set(may) | {"no-ripple"}, field_hz=field_hz)
    if field_hz < 130_000:
        made.truth.may |= {"field-off-frequency"}
    return capture(made, made.amplitude * wave, folder)


def _at_125(rng):
    return 125_000 + rng.uniform(-60, 60)


def read_only_125(rng, folder):
    states = manchester_states(read_only_word(int(rng.integers(0, 1 << 40))), 64)
    return _loaded(rng, folder, states, _at_125(rng), due("read-only-125-khz-tag"))


def read_only_at_134(rng, folder):
    """The same tag in a 134.2 kHz field: it divides what there is."""
    states = manchester_states(read_only_word(int(rng.integers(0, 1 << 40))), 64)
    return _loaded(rng, folder, states, FIELD_HZ + rng.uniform(-13, 13), due("read-only-125-khz-tag"))


def fsk_125(rng, folder):
    """field/8 and field/10, 50 or 64 cycles a bit."""
    return _loaded(rng, folder, load_fsk_states(rng.integers(0, 2, 96), int(rng.choice((50, 64)))), _at_125(rng), due("fsk-125-khz-tag"))


def phase_keyed(rng, folder):
    """A subcarrier of half the field, its phase turned by the bits of 16 or 32 cycles."""
    bits = np.repeat(rng.choice((-1, 1), 64), int(rng.choice((16, 32))))
    return _loaded(rng, folder, bits * np.where(np.arange(bits.size) % 2 == 0, 1, -1), _at_125(rng), due("phase-keyed-half"))


def _biphase(rng, cycles):
    level, states = 1, []
    bits = np.concatenate([[0] * 8, rng.integers(0, 2, 88)])
    for bit in bits:
        level = -level
        states += [level] * (cycles // 2)
        level = level if bit else -level
        states += [level] * (cycles - cycles // 2)
    return states if states[-1] == 1 else states + [-s for s in states]


def biphase_64(rng, folder):
    hertz = _at_125(rng) if rng.random() < 0.7 else FIELD_HZ
    return _loaded(rng, folder, _biphase(rng, 64), hertz, due("bit-rate-64"))


def biphase_50(rng, folder):
    hertz = _at_125(rng) if rng.random() < 0.7 else FIELD_HZ
    return _loaded(rng, folder, _biphase(rng, 50), hertz, due("bit-rate-50"))


def _foreign(rng, folder, samples, rate, *codes, may=(), form="wav"):
    made = Scene(rng, rate, samples.size / rate, FIELD_HZ, 1.0, 0.0)
    made.truth = Truth(dues=[due(*codes)], may=set(may), no_field=True)
    return capture(made, samples, folder, form=form)


def temperature_log(rng, folder):
    """A logger of one value a second to a minute, a week or less of it."""
    step, count = float(rng.choice((1, 10, 60))), int(rng.integers(300, 4000))
    times = np.arange(count) * step
    values = 21 + 3 * np.sin(2 * np.pi * times / 86_400 + 1) + np.cumsum(0.01 * rng.standard_normal(count))
    path = folder / "log.csv"
    path.write_text("time (s),temperature\n" + "\n".join(f"{t:.0f},{v:.2f}" for t, v in zip(times, values)) + "\n")
    truth = Truth(dues=[due("nothing-to-read", "no-field", "rate-too-low", "wrong-rate")], no_field=True)
    return Capture([str(path)], [], truth, f"{count} values, {step} s")


def audio(rng, folder):
    """Notes with overtones, two seconds: someone recorded the beeper."""
    rate = float(rng.choice((44_100, 48_000)))
    times = np.arange(int(2 * rate)) / rate
    note = log_uniform(rng, 200, 4000)
    wave = sum(np.sin(2 * np.pi * k * note * times + rng.uniform(0, 6)) / k for k in range(1, int(0.45 * rate / note) + 1) if k < 8)
    wave = wave * (np.mod(times, 0.5) < 0.3) + 0.003 * rng.standard_normal(times.size)
    return _foreign(rng, folder, 0.3 * wave, rate, "nothing-to-read", "no-field", may=("stray-tone", "supply-harmonics"))


def mains_only(rng, folder):
    """An open input: mains and its harmonics, noise."""
    rate, hertz = float(rng.choice((48_000, 96_000, 500_000))), float(rng.choice((50, 60)))
    times = np.arange(int(0.4 * rate)) / rate
    wave = sum(rng.uniform(0.2, 1) / k * np.sin(2 * np.pi * k * hertz * times + rng.uniform(0, 6)) for k in range(1, 16, 2))
    wave = 0.2 * wave + log_uniform(rng, 1e-4, 1e-2) * rng.standard_normal(times.size)
    return _foreign(rng, folder, wave, rate, "nothing-to-read", "no-field", may=("hum",))


def serial_line(rng, folder):
    """Two levels of a serial port: data, and no tag's."""
    baud, rate = float(rng.choice((9600, 19_200, 38_400))), float(rng.choice((100_000, 500_000)))
    count = int(0.3 * rate)
    bits = rng.integers(0, 2, int(0.3 * baud) + 2)
    bits[::10], bits[9::10] = 0, 1
    line = bits[(np.arange(count) * baud / rate).astype(int)].astype(float)
    return _foreign(rng, folder, 0.9 * line, rate, "nothing-to-read", "no-field")


def sampled_slowly(rng, folder):
    """1 to 6 kS/s: less than the bits have."""
    made = scene(rng, rate_hz=float(rng.integers(1000, 6000)), seconds=rng.uniform(0.5, 2), ebn0_db=15.0)
    made.truth.field_hz = None
    made.truth.dues = [due("rate-too-low", "nothing-to-read", "wrong-rate")]
    made.truth.may |= {"no-field"}
    made.truth.may.discard("folded")
    return capture(made, made.plain(), folder)


def noise_slow(rng, folder):
    """A sound card with nothing connected."""
    rate = float(rng.choice((44_100, 48_000, 96_000)))
    noise = rng.standard_normal(int(rate * rng.uniform(0.3, 1)))
    return _foreign(rng, folder, log_uniform(rng, 1e-4, 0.1) * noise, rate, "nothing-to-read", "no-field")


def random_levels(rng, folder):
    """A pin that toggles when it likes, 0.5 to 5 thousand times a second."""
    rate = float(rng.choice((100_000, 500_000)))
    edges = np.cumsum(rng.exponential(1 / log_uniform(rng, 500, 5000), 3000))
    line = np.searchsorted(edges, np.arange(int(0.3 * rate)) / rate) % 2
    return _foreign(rng, folder, 0.9 * line.astype(float), rate, "nothing-to-read", "no-field")


def sparse_edges(rng, folder):
    """A list of three to eight edges over seconds to minutes: a button."""
    edges = np.sort(rng.uniform(0, log_uniform(rng, 3, 600), rng.integers(3, 9)))
    writers.edge_list(folder / "edges.csv", 0, edges)
    truth = Truth(dues=[due("nothing-to-read", "no-field", "rate-too-low", "record-too-short")], no_field=True)
    return Capture([str(folder / "edges.csv")], [], truth, str(edges))


def frequency_response(rng, folder):
    """A table of an antenna's response, frequencies in hertz: no record over time at all."""
    hertz = np.linspace(100e3, 170e3, int(rng.integers(101, 1001)))
    decibel = -10 * np.log10(1 + (2 * rng.uniform(15, 40) * (hertz / FIELD_HZ - 1)) ** 2) + 0.05 * rng.standard_normal(hertz.size)
    path = folder / "response.csv"
    path.write_text("Frequency (Hz),Magnitude (dB)\n" + "\n".join(f"{f:.1f},{v:.3f}" for f, v in zip(hertz, decibel)) + "\n")
    truth = Truth(dues=[due("nothing-to-read", "no-field", "rate-too-low", "wrong-rate")], no_field=True, refusal="spectrum")
    return Capture([str(path)], [], truth, f"{hertz.size} frequencies")


KINDS = {f.__name__.replace("_", "-"): f for f in (
    read_only_125, read_only_at_134, fsk_125, phase_keyed, biphase_64, biphase_50, temperature_log, audio, mains_only, serial_line,
    sampled_slowly, noise_slow, random_levels, sparse_edges, frequency_response,
)}

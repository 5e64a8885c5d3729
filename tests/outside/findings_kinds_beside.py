"""What lies beside the field: second readers, hum, supplies, transmitters, chargers, impulses; with a tag and without."""

import numpy as np

from fdxb import FIELD_HZ
from findings_bench import capture, due, log_uniform, scene, signed, two_reader_codes
from findings_rules import READ


def _beating(rng, folder, tag, offset, level, pulsing=False, **given):
    """A second reader's field at the probe, and at the tag, which modulates both; a beat moves the tag's clock by less than a
    quarter of a field cycle as long as the other field is the weaker one."""
    made = scene(rng, tag, **given)
    two_reader_codes(made, offset, level)
    other = level * np.exp(1j * (2 * np.pi * offset * made.times + rng.uniform(0, 2 * np.pi)))
    if pulsing:
        on, off = 0.05, rng.uniform(0.003, 0.02)
        since = np.mod(made.times + rng.uniform(0, on + off), on + off)
        tau = rng.uniform(1e-4, 3e-4)
        other = other * np.where(since < on, 1 - np.exp(-since / tau), np.exp(-(since - on) / tau))
    at_tag = 1 + rng.uniform(0, 1) * other
    # The mean of the field's angle stays the reader's; where both are nearly equal either may be called the field.
    made.truth.field_within_hz = 5.0 + abs(offset) * (level > 0.7)
    made.truth.depth = made.truth.angle_deg = None
    return capture(made, made.samples(1 + other + made.ripple(made.cycles) * at_tag), folder)


def _length(rng):
    return float(rng.choice((0.1, 0.2, 0.5)))


def reader_near_bare(rng, folder):
    """1 to 70 Hz off, the spread of two crystals, 1 to 30 % as strong."""
    return _beating(rng, folder, None, signed(rng, 1, 70), log_uniform(rng, 0.01, 0.3), rate_hz=500_000.0, seconds=_length(rng))


def reader_near_tag(rng, folder):
    return _beating(rng, folder, True, signed(rng, 1, 70), log_uniform(rng, 0.01, 0.3), rate_hz=500_000.0, seconds=_length(rng))


def reader_near_strong_bare(rng, folder):
    """30 % to as strong: the sum all but vanishes once a beat."""
    return _beating(rng, folder, None, signed(rng, 3, 70), rng.uniform(0.3, 0.98), rate_hz=500_000.0, seconds=_length(rng))


def reader_near_strong_tag(rng, folder):
    """30 to 80 %: the tag lives through the dips."""
    given = dict(rate_hz=500_000.0, seconds=_length(rng), ebn0_db=rng.uniform(15, 25))
    return _beating(rng, folder, True, signed(rng, 3, 70), rng.uniform(0.3, 0.8), **given)


def reader_far_bare(rng, folder):
    """100 Hz to 3 kHz off."""
    offset = rng.choice((-1, 1)) * log_uniform(rng, 100, 3000)
    return _beating(rng, folder, None, offset, log_uniform(rng, 0.01, 0.9), seconds=_length(rng), rate_hz=500_000.0)


def reader_far_tag(rng, folder):
    offset = rng.choice((-1, 1)) * log_uniform(rng, 100, 3000)
    return _beating(rng, folder, True, offset, log_uniform(rng, 0.01, 0.7), seconds=_length(rng), rate_hz=500_000.0)


def reader_pulsing_bare(rng, folder):
    """The other reader switches its field, 50 ms on and 3 to 20 ms off, 40 Hz to 2 kHz away."""
    offset = rng.choice((-1, 1)) * log_uniform(rng, 40, 2000)
    return _beating(rng, folder, None, offset, log_uniform(rng, 0.02, 0.5), True, seconds=rng.uniform(0.2, 0.5), rate_hz=500_000.0)


def reader_125(rng, folder):
    """A 125 kHz reader next to the bench, with a tag in the 134.2 kHz field."""
    made = scene(rng)
    made.truth.dues.append(due("second-reader", "stray-tone"))
    made.truth.may |= {"second-reader", "stray-tone"}
    hertz, level = 125_000 + rng.uniform(-30, 30), log_uniform(rng, 0.03, 0.5)
    return capture(made, made.plain(beside=level * np.cos(2 * np.pi * hertz * made.times + 1.0)), folder)


HUM_HZ = (50.0, 60.0, 100.0, 120.0)


def _hummed(rng, made, depth):
    """Ripple of the supply on the driver: mostly amplitude, some phase, a harmonic of a third."""
    hertz = float(rng.choice(HUM_HZ))
    angle = np.exp(1j * np.radians(rng.uniform(-40, 40)))
    turn = 2 * np.pi * hertz * made.times
    wave = np.cos(turn + rng.uniform(0, 6)) + rng.uniform(0, 0.3) * np.cos(2 * turn + rng.uniform(0, 6))
    made.truth.may |= {"hum", "field-modulated"}
    if depth > 0.02:  # with the harmonic up to 1.3 times that, and 3 % are called unsteady
        made.truth.may.add("field-unsteady")
    return (1 + depth * angle * wave) * (1 + made.ripple(made.cycles)), hertz


def hum_small_bare(rng, folder):
    """0.05 to 0.3 %: harmless; to be silent about it is right, to name it is."""
    made = scene(rng, None, seconds=_length(rng), rate_hz=500_000.0)
    made.truth.dues.append(due("no-ripple"))
    return capture(made, made.samples(_hummed(rng, made, log_uniform(rng, 5e-4, 3e-3))[0]), folder)


def hum_small_tag(rng, folder):
    made = scene(rng, seconds=_length(rng), rate_hz=500_000.0)
    return capture(made, made.samples(_hummed(rng, made, log_uniform(rng, 5e-4, 3e-3))[0]), folder)


def hum_large(rng, folder):
    """1 to 4 % of the field's level: to be named, with the frequency of mains or its double."""
    made = scene(rng, rng.choice((True, None)) or None, seconds=rng.uniform(0.1, 0.5), rate_hz=500_000.0)
    relative, hertz = _hummed(rng, made, rng.uniform(0.01, 0.04))
    near = [(hertz, 0.5 / made.seconds), (2 * hertz, 0.5 / made.seconds), (hertz / 2, 0.25 / made.seconds)]
    made.truth.dues.append(due("hum", "field-modulated", near=(near,)))
    return capture(made, made.samples(relative), folder)


def hum_on_samples(rng, folder):
    """Mains beside the field, a tenth of it to as much, picked up by the probe's lead."""
    made = scene(rng, seconds=rng.uniform(0.1, 0.3))
    hertz, level = float(rng.choice((50, 60))), log_uniform(rng, 0.1, 1.0)
    made.truth.dues.append(due("hum"))
    wave = np.cos(2 * np.pi * hertz * made.times + 1) + 0.2 * np.cos(6 * np.pi * hertz * made.times)
    return capture(made, made.plain(beside=level * wave), folder)


def _supply(rng, made, gated):
    """Harmonics of a converter, falling with 1/k; none within 6 kHz of the field nor within 2 kHz of 125 kHz or ripple control."""
    while True:
        base = rng.uniform(20_000, 60_000)
        parts = base * np.arange(1, 30)
        if np.min(np.abs(parts - FIELD_HZ)) > 6000 and np.min(np.abs(parts[:, None] - np.array([125e3, 129.1e3, 135.6e3, 139e3]))) > 2000:
            break
    cycles = base * made.times
    if rng.random() < 0.5:  # the period wanders
        cycles = cycles + 0.02 * np.cumsum(rng.standard_normal(cycles.size)) / np.sqrt(made.rate_hz / base) / 10
    wave = sum(np.cos(2 * np.pi * k * cycles + rng.uniform(0, 6)) / k for k in range(1, 9))
    if gated:
        wave = wave * (np.mod(made.times + rng.uniform(0, 0.01), 1 / float(rng.choice((100, 120)))) < rng.uniform(0.002, 0.005))
    return log_uniform(rng, 0.02, 0.3) * wave


def supply_tag(rng, folder):
    made = scene(rng, rate_hz=1e6, seconds=rng.uniform(0.1, 0.2))
    made.truth.may |= {"supply-harmonics", "stray-tone"}
    return capture(made, made.plain(beside=_supply(rng, made, False)), folder)


def supply_bare(rng, folder):
    made = scene(rng, None, rate_hz=1e6, seconds=rng.uniform(0.1, 0.2))
    made.truth.dues.append(due("supply-harmonics", "stray-tone"))
    made.truth.may |= {"supply-harmonics", "stray-tone"}
    return capture(made, made.plain(beside=_supply(rng, made, False)), folder)


def supply_bursts(rng, folder):
    """A converter that works near the crests of the mains only."""
    made = scene(rng, rng.choice((True, None)) or None, rate_hz=1e6, seconds=rng.uniform(0.1, 0.2))
    made.truth.may |= {"supply-harmonics", "stray-tone", "impulses"}
    return capture(made, made.plain(beside=_supply(rng, made, True)), folder)


def _overtones(rng, made):
    """Harmonics of the field itself, as a bridge driver has, wherever the rate folds them; one within 300 Hz of the field is drawn again."""
    wave = 0.0
    for k in range(2, 20):
        image = abs((k * made.field_hz + made.rate_hz / 2) % made.rate_hz - made.rate_hz / 2)
        own = abs((made.field_hz + made.rate_hz / 2) % made.rate_hz - made.rate_hz / 2)
        if abs(image - own) > 300:
            wave = wave + rng.uniform(0.3, 1) / k * np.cos(2 * np.pi * k * made.cycles + rng.uniform(0, 6))
    return wave * log_uniform(rng, 0.003, 0.2)


def overtones_bare(rng, folder):
    """Nothing but the field and its own harmonics, folded where they exceed half the rate."""
    made = scene(rng, None)
    made.truth.dues.append(due("no-ripple"))
    return capture(made, made.plain(beside=_overtones(rng, made)), folder)


def overtones_tag(rng, folder):
    made = scene(rng)
    made.truth.depth = None
    return capture(made, made.plain(beside=_overtones(rng, made)), folder)


def divider_lines(rng, folder):
    """Lines at the field plus and minus multiples of field/32, from the reader's own dividers: steady, no data on them."""
    made = scene(rng, None, noise=log_uniform(rng, 1e-3, 5e-3))
    relative = 1.0
    for k in rng.choice(np.arange(1, 9), 3, replace=False):
        relative = relative + log_uniform(rng, 2e-4, 2e-3) * np.exp(1j * (2 * np.pi * rng.choice((-1, 1)) * k * made.cycles / 32 + rng.uniform(0, 6)))
    made.truth.dues.append(due("no-ripple"))
    made.truth.may |= {"stray-tone", "field-modulated"}
    return capture(made, made.samples(relative), folder)


CONTROL_HZ = (129_100.0, 135_600.0, 139_000.0)


def _ripple_control(rng, made, level):
    """200 Bd, +-170 Hz (published by operators for one of them)."""
    symbols = rng.integers(0, 2, int(made.seconds * 200) + 3)
    shift = np.where(symbols[(made.times * 200 + rng.uniform(0, 1)).astype(int)] == 1, 170.0, -170.0)
    centre = float(rng.choice(CONTROL_HZ))
    return level * np.cos(2 * np.pi * np.cumsum(centre + shift) / made.rate_hz + rng.uniform(0, 6))


def control_bare(rng, folder):
    """0.3 to 5 % of the field, and well above the noise of its own band."""
    made = scene(rng, None, noise=log_uniform(rng, 1e-3, 5e-3), seconds=rng.uniform(0.15, 0.35))
    made.truth.dues.append(due("in-band-transmitter"))
    return capture(made, made.plain(beside=_ripple_control(rng, made, log_uniform(rng, 3e-3, 0.05))), folder)


def control_tag(rng, folder):
    """As strong as the ripple to five times as strong: still to be read at 12 dB and more."""
    made = scene(rng, ebn0_db=rng.uniform(12, 22), seconds=rng.uniform(0.15, 0.35))
    made.truth.may |= {"in-band-transmitter", "stray-tone"}
    return capture(made, made.plain(beside=_ripple_control(rng, made, made.tags[0].depth * rng.uniform(1, 5))), folder)


def _charger(rng, made):
    """110 to 205 kHz, hopping a little as it regulates, load-modulated at 2 kbit/s by 3 %; its third harmonic too."""
    while True:
        base = rng.uniform(110_000, 205_000)
        if abs(base - FIELD_HZ) > 8000 and abs(base - 125e3) > 2500:
            break
    wander = np.interp(made.times, np.linspace(0, made.seconds, 8), rng.uniform(-60, 60, 8))
    bits = rng.choice((-1, 1), int(made.seconds * 4000) + 2)[(made.times * 4000).astype(int)]
    turn = 2 * np.pi * np.cumsum(base + wander) / made.rate_hz
    return log_uniform(rng, 0.03, 0.5) * ((1 + 0.03 * bits) * np.cos(turn) + 0.15 * np.cos(3 * turn + 1))


def charger_bare(rng, folder):
    made = scene(rng, None, rate_hz=1e6, seconds=rng.uniform(0.1, 0.25))
    made.truth.dues.append(due("stray-tone", "supply-harmonics", "no-ripple"))
    made.truth.may |= {"stray-tone", "supply-harmonics"}
    return capture(made, made.plain(beside=_charger(rng, made)), folder)


def charger_tag(rng, folder):
    made = scene(rng, rate_hz=1e6, seconds=rng.uniform(0.1, 0.25), ebn0_db=rng.uniform(15, 25))
    made.truth.dues = [due(READ, "stray-tone", "supply-harmonics")]
    made.truth.may |= {"stray-tone", "supply-harmonics"}
    made.truth.depth = made.truth.angle_deg = None
    return capture(made, made.plain(beside=_charger(rng, made)), folder)


def impulses(rng, folder):
    """A motor's brushes: 50 to 500 a second, one to eight times the field, a few microseconds of ringing."""
    made = scene(rng, seconds=rng.uniform(0.1, 0.3))
    beside = np.zeros(made.times.size)
    k = np.arange(int(2e-5 * made.rate_hz) + 4)
    for place in rng.integers(0, beside.size - k.size, int(made.seconds * log_uniform(rng, 50, 500))):
        ring = np.exp(-k / (3e-6 * made.rate_hz)) * np.cos(2 * np.pi * rng.uniform(50e3, 150e3) * k / made.rate_hz + rng.uniform(0, 6))
        beside[place : place + k.size] += rng.uniform(1, 8) * ring
    made.truth.dues.append(due("impulses"))
    return capture(made, made.plain(beside=beside), folder)


def reader_faint_tag(rng, folder):
    """A reader in the next room, 0.1 to 1 % of the field: below most ripples. The number is there to be read; silence is right."""
    made = scene(rng, seconds=_length(rng), rate_hz=500_000.0)
    offset = rng.choice((-1, 1)) * log_uniform(rng, 5, 3000)
    made.truth.may |= {"second-reader", "beat"}
    other = log_uniform(rng, 1e-3, 1e-2) * np.exp(2j * np.pi * offset * made.times)
    return capture(made, made.samples(1 + other + made.ripple(made.cycles)), folder)


def two_readers_bare(rng, folder):
    """Two other readers, 20 Hz to 2 kHz off on either side, at 2 to 30 %: one of them at least named as what it is."""
    made = scene(rng, None, seconds=0.5, rate_hz=500_000.0)
    offsets = np.array([log_uniform(rng, 20, 2000), -log_uniform(rng, 20, 2000)])
    other = sum(log_uniform(rng, 0.02, 0.3) * np.exp(1j * (2 * np.pi * f * made.times + rng.uniform(0, 6))) for f in offsets)
    made.truth.may |= {"field-unsteady"}
    stated = [(value, 2.0) for f in offsets for value in (f, -f, made.field_hz + f)]
    made.truth.dues.append(due("second-reader", "beat", near=(stated,)))
    return capture(made, made.samples(1 + other), folder)


def time_signal(rng, folder):
    """A long-wave time signal at 60 to 78 kHz, carrier lowered once a second, 0.3 to 3 % of the field; with a tag."""
    made = scene(rng, rate_hz=float(rng.choice((400_000, 500_000))))
    hertz = float(rng.choice((60_000, 66_667, 68_500, 77_500)))
    made.truth.may.add("stray-tone")
    level = log_uniform(rng, 3e-3, 3e-2) * np.where(made.times < rng.uniform(0, 2 * made.seconds), 1.0, 0.2)
    return capture(made, made.plain(beside=level * np.cos(2 * np.pi * hertz * made.times + 1)), folder)


KINDS = {f.__name__.replace("_", "-"): f for f in (
    reader_near_bare, reader_near_tag, reader_near_strong_bare, reader_near_strong_tag, reader_far_bare, reader_far_tag,
    reader_pulsing_bare, reader_125, hum_small_bare, hum_small_tag, hum_large, hum_on_samples, supply_tag, supply_bare, supply_bursts,
    overtones_bare, overtones_tag, divider_lines, control_bare, control_tag, charger_bare, charger_tag, impulses,
    reader_faint_tag, two_readers_bare, time_signal,
)}

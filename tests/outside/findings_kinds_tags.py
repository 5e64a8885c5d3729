"""Tags that do not do what one tag in a steady field does, half-duplex tags, and fields that come and go."""

import numpy as np

from scipy.signal import lfilter

from fdxb import FIELD_HZ, HALF_BIT_CYCLES, TELEGRAM_CYCLES, TONE_CYCLES, Pulses, half_duplex_bits, random_number, telegram_bits
from findings_bench import Scene, Truth, add_tag, capture, due, log_uniform, scene, signed
from findings_rules import READ, READ_ONE


def two_tags(rng, folder):
    """3 to 12 dB apart, for 0.2 to 0.5 s: the stronger can be read, the other one named or read."""
    made = scene(rng, {"bandwidth_hz": None}, rate_hz=500_000.0, seconds=rng.uniform(0.2, 0.5), ebn0_db=rng.uniform(14, 20))
    add_tag(made, depth=made.tags[0].depth * 10 ** (-rng.uniform(3, 12) / 20), angle_deg=float(rng.uniform(-90, 90)))
    return _several(made, folder)


def _several(made, folder, *dues):
    made.truth.dues = list(dues) or [due(READ_ONE), due(READ, "several-tags")]
    made.truth.may |= {"several-tags", "ripple-too-weak", "little-margin"}  # true of the weaker ones
    made.truth.depth = made.truth.angle_deg = None
    return capture(made, made.plain(), folder)


def two_tags_equal(rng, folder):
    """Within 2 dB: naming them is enough."""
    made = scene(rng, {"bandwidth_hz": None}, rate_hz=500_000.0, seconds=rng.uniform(0.2, 0.5), ebn0_db=rng.uniform(14, 20))
    add_tag(made, depth=made.tags[0].depth * 10 ** (-rng.uniform(0, 2) / 20), angle_deg=float(rng.uniform(-90, 90)))
    return _several(made, folder, due(READ, "several-tags"))


def three_tags(rng, folder):
    made = scene(rng, {"bandwidth_hz": None}, rate_hz=500_000.0, seconds=rng.uniform(0.3, 0.6), ebn0_db=rng.uniform(14, 20))
    for below_db in np.cumsum(rng.uniform(2, 5, 2)):
        add_tag(made, depth=made.tags[0].depth * 10 ** (-below_db / 20), angle_deg=float(rng.uniform(-90, 90)))
    return _several(made, folder, due(READ, "several-tags"))


def tags_in_turn(rng, folder):
    """One leaves, the next arrives: each is there for a third of the record or more, rising and falling within 10 to 50 ms."""
    made = scene(rng, {"bandwidth_hz": None}, rate_hz=500_000.0, seconds=rng.uniform(0.4, 0.8), ebn0_db=rng.uniform(12, 20))
    add_tag(made, depth=made.tags[0].depth * 10 ** (-signed(rng, 0, 3) / 20), angle_deg=float(rng.uniform(-90, 90)))
    place, edge = made.times / made.seconds, rng.uniform(0.01, 0.05) / made.seconds
    gates = [np.clip((0.45 - place) / edge, 0, 1), np.clip((place - 0.55) / edge, 0, 1)]
    relative = 1.0
    for tag, gate in zip(made.tags, gates):
        relative = relative + gate * tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * tag.states(made.cycles + tag.start_cycles)
    made.truth.dues, made.truth.depth, made.truth.angle_deg = [due(READ)], None, None
    made.truth.may |= {"several-tags"}
    return capture(made, made.samples(relative), folder)


def tag_passing(rng, folder):
    """A tag that walks through: the ripple rises and falls once over 0.15 to 0.4 s."""
    made = scene(rng, {"bandwidth_hz": None}, rate_hz=500_000.0, seconds=rng.uniform(0.4, 0.8), ebn0_db=rng.uniform(12, 20))
    middle, half = rng.uniform(0.3, 0.7) * made.seconds, rng.uniform(0.075, 0.2)
    height = 0.5 * (1 + np.cos(np.pi * np.clip((made.times - middle) / half, -1, 1)))
    made.truth.depth = None
    return capture(made, made.samples(1 + height * made.ripple(made.cycles)), folder)


def tag_restarts(rng, folder):
    """The tag's supply breaks down: after 6 to 25 ms it falls silent for 1 to 4 ms and begins its telegram anew."""
    made = scene(rng, {"bandwidth_hz": None}, rate_hz=500_000.0, seconds=rng.uniform(0.2, 0.4), ebn0_db=rng.uniform(15, 25))
    tag, at, states = made.tags[0], 0, np.zeros(made.times.size)
    while at < states.size:
        count = int(rng.uniform(0.006, 0.025) * made.rate_hz)
        run = made.times[at : at + count] - made.times[at]
        states[at : at + count] = tag.half_bit(np.floor(run * made.field_hz / HALF_BIT_CYCLES).astype(int))
        at += count + int(rng.uniform(0.001, 0.004) * made.rate_hz)
    made.truth.dues, made.truth.depth = [due("tag-restarts", READ)], None
    made.truth.may |= {"tag-restarts"}
    return capture(made, made.samples(1 + tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * states), folder)


def _telegram(made, bits):
    """A tag of these bits instead of a number's."""
    states, level = [], 1
    for bit in np.concatenate([bits, bits]):  # two telegrams: with either parity the second ends where the first began
        level = -level
        states.append(level)
        if not bit:
            level = -level
        states.append(level)
    if states[-1] != 1:
        states = states + [-s for s in states]
    start, tag = made.rng.uniform(0, TELEGRAM_CYCLES), made.tags[0]
    index = np.floor((made.cycles + start) / HALF_BIT_CYCLES).astype(int) % len(states)
    return 1 + tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * np.array(states)[index]


def flipped_bit(rng, folder):
    """One bit of code or CRC is not what it was written as: a strong telegram that no number fits."""
    made = scene(rng, {"bandwidth_hz": None}, seconds=rng.uniform(0.1, 0.3), ebn0_db=rng.uniform(14, 25))
    bits = telegram_bits(made.tags[0].number).copy()
    place = int(rng.choice([k for k in range(11, 101) if (k - 11) % 9 != 8]))
    bits[place] ^= 1
    made.truth.numbers, made.truth.dues = [], [due("telegram-does-not-fit")]
    return capture(made, made.samples(_telegram(made, bits)), folder)


def other_check(rng, folder):
    """The layout of the standard with a check that starts at FFFF: CRC-16/MCRF4XX in the catalogue of parametrised CRC algorithms."""
    made = scene(rng, {"bandwidth_hz": None}, seconds=rng.uniform(0.1, 0.3), ebn0_db=rng.uniform(14, 25))
    number = made.tags[0].number
    register = 0xFFFF
    for byte in number.code.to_bytes(8, "little"):
        for place in range(8):
            feedback = (register ^ (byte >> place)) & 1
            register = register >> 1 ^ (0x8408 if feedback else 0)
    bits = telegram_bits(number).copy()
    check = [(register >> place) & 1 for place in range(16)]
    bits[83:91], bits[92:100] = check[:8], check[8:]
    made.truth.numbers, made.truth.dues = [], [due("check-of-another-kind", "telegram-does-not-fit")]
    made.truth.may |= {"check-of-another-kind", "telegram-does-not-fit"}
    return capture(made, made.samples(_telegram(made, bits)), folder)


def other_protocol(rng, folder):
    """Biphase at field/32, 64 or 128 bits over and over, no header of ten 0s in them."""
    made = scene(rng, {"bandwidth_hz": None}, seconds=rng.uniform(0.1, 0.3), ebn0_db=rng.uniform(14, 25))
    bits = rng.integers(0, 2, int(rng.choice((64, 128))))
    bits[::8] = 1
    made.truth.numbers, made.truth.dues = [], [due("biphase-no-header", "telegram-does-not-fit")]
    made.truth.may |= {"biphase-no-header", "telegram-does-not-fit"}
    return capture(made, made.samples(_telegram(made, bits)), folder)


def _half_duplex(rng, folder, zeros, ebn0_db):
    """50 ms on, 20 ms off, an answer in every pause, the tone of a 0 for `zeros` bits before it."""
    rate, delay = float(rng.choice((400_000, 500_000, 1_000_000))), rng.uniform(0.0005, 0.002)
    number, level = random_number(rng), log_uniform(rng, 0.003, 0.03)
    zero_hz, one_hz = 134_200 + rng.uniform(-800, 800), 124_200 + rng.uniform(-800, 800)
    tau = min(rng.uniform(5e-5, 1.5e-4), delay / np.log(3 / level))  # rung down below the answer when it begins
    on_s, off_s, seconds = 0.05, 0.02, 0.15
    times = np.arange(int(rate * seconds)) / rate
    envelope, since = Pulses(on_s=on_s, off_s=off_s, tau_s=tau).at(times)
    wave = (envelope * np.exp(2j * np.pi * (FIELD_HZ * times + rng.random()))).real
    tones = np.array([zero_hz] * zeros + [one_hz if bit else zero_hz for bit in half_duplex_bits(number)])
    edges = np.concatenate([[0.0], np.cumsum(TONE_CYCLES / tones)])
    for turn in range(2):
        at = times - (turn * (on_s + off_s) + on_s + delay)
        place = np.searchsorted(edges, at, side="right") - 1
        inside = (place >= 0) & (place < tones.size)
        place = np.clip(place, 0, tones.size - 1)
        tone = np.exp(2j * np.pi * (tones[place] * (at - edges[place]) + rng.random()) - np.maximum(at, 0) / rng.uniform(0.02, 0.2))
        wave += level * np.where(inside, tone, 0).real
    energy = level**2 / 2 * TONE_CYCLES * (1 / zero_hz + 1 / one_hz) / 2
    wave += np.sqrt(energy / 10 ** (ebn0_db / 10) * rate / 2) * rng.standard_normal(times.size)
    made = Scene(rng, rate, seconds, FIELD_HZ, 1.0, 0.0)
    made.truth = Truth(numbers=[number.id], dues=[due(READ)], may={"half-duplex-tag"}, field_hz=FIELD_HZ)
    found = capture(made, log_uniform(rng, 0.1, 1) * wave, folder)
    found.about = f"{zeros} zeros, delay {delay * 1e3:.2f} ms, level {level:.4f}, {rate:.0f} S/s, tau {tau * 1e6:.0f} us, {number}"
    return found


def half_duplex(rng, folder):
    return _half_duplex(rng, folder, 0, rng.uniform(14, 20))


def half_duplex_zeros(rng, folder):
    """Some tags send up to 16 zeros first (from memory)."""
    return _half_duplex(rng, folder, int(rng.integers(1, 17)), rng.uniform(14, 20))


def half_duplex_weak(rng, folder):
    found = _half_duplex(rng, folder, int(rng.integers(0, 17)), rng.uniform(4, 8))
    found.truth.dues = [due(READ, "half-duplex-unread")]
    found.truth.may |= {"half-duplex-unread", "little-margin", "no-ripple"}  # silence is not false: no animal tag's *ripple* is there
    return found


def field_at_the_end(rng, folder):
    """The field comes on for the last fifth of the record, with a tag in it."""
    made = scene(rng, {"bandwidth_hz": None}, rate_hz=500_000.0, seconds=rng.uniform(0.4, 0.9), ebn0_db=rng.uniform(14, 22))
    start, tag = 0.8 * made.seconds, made.tags[0]
    since = made.times - start
    level = np.where(since > 0, 1 - np.exp(-np.maximum(since, 0) / 2e-4), 0)
    on_air = made.field_hz * (since - 0.0015)
    states = np.where(on_air < 0, -1.0, tag.states(np.maximum(on_air, 0)))
    made.truth.may |= {"field-briefly-on"}
    return capture(made, made.samples(level * (1 + tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * states)), folder)


def field_at_the_end_bare(rng, folder):
    made = scene(rng, None, rate_hz=500_000.0, seconds=rng.uniform(0.2, 0.9))
    since = made.times - rng.uniform(0.78, 0.85) * made.seconds
    made.truth.dues = [due("no-ripple", "field-briefly-on")]
    made.truth.may |= {"field-briefly-on", "no-ripple"}
    if 0.2 * made.seconds < 0.05:
        made.truth.may |= {"record-too-short", "pulses-too-short"}
    return capture(made, made.samples(np.where(since > 0, 1 - np.exp(-np.maximum(since, 0) / 2e-4), 0)), folder)


def pings(rng, folder):
    """A reader that looks for tags with 2 ms every 30 to 200 ms."""
    made = scene(rng, None, rate_hz=500_000.0, seconds=rng.uniform(0.3, 0.6))
    period, on = rng.uniform(0.03, 0.2), rng.uniform(0.0015, 0.0025)
    since, tau = np.mod(made.times + rng.uniform(0, period), period), rng.uniform(1e-4, 2e-4)
    level = np.where(since < on, 1 - np.exp(-since / tau), np.exp(-(since - on) / tau))
    made.truth.dues = [due("pulses-too-short", "field-briefly-on")]
    made.truth.may |= {"record-too-short"}
    made.truth.field_within_hz = 200.0  # a ping of 2 ms knows the frequency to a fraction of 1 / 2 ms
    return capture(made, made.samples(level), folder)


def pulses_short(rng, folder):
    """8 to 25 ms on, 3 to 20 ms off: no tag gets to the end of its telegram."""
    made = scene(rng, {"bandwidth_hz": None}, rate_hz=500_000.0, seconds=rng.uniform(0.2, 0.4))
    switch = Pulses(rng.uniform(0.008, 0.025), rng.uniform(0.003, 0.02), 1.5e-4, rng.uniform(5e-4, 2e-3), 0.0)
    level, since = switch.at(made.times)
    tag = made.tags[0]
    on_air = made.field_hz * (since - switch.tag_delay_s)
    states = np.where(on_air < 0, -1.0, tag.states(np.maximum(on_air, 0)))
    made.truth.dues, made.truth.depth = [due("pulses-too-short")], None
    made.truth.may |= {"ripple-too-weak"}
    return capture(made, made.samples(level * (1 + tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * states)), folder)


def antenna_mistuned(rng, folder):
    """The antenna resonates 2.5 to 8 kHz beside the field at Q 15 to 40: field and ripple go through it, rings beat with the field."""
    tag = {"bandwidth_hz": None, "depth": log_uniform(rng, 0.01, 0.05)}
    made = scene(rng, tag, rate_hz=1e6, seconds=rng.uniform(0.17, 0.25), ebn0_db=rng.uniform(18, 25))
    switch = Pulses(0.05, rng.uniform(0.003, 0.006), 1e-9, rng.uniform(5e-4, 2e-3), rng.uniform(0, 0.05))
    _, since = switch.at(made.times)
    tag = made.tags[0]
    on_air = made.field_hz * (since - switch.tag_delay_s)
    states = np.where(on_air < 0, -1.0, tag.states(np.maximum(on_air, 0)))
    beside, q = signed(rng, 2500, 8000), rng.uniform(15, 40)
    keep = np.exp(-(np.pi * (made.field_hz + beside) / q - 2j * np.pi * beside) / made.rate_hz)

    def tank(drive):
        return lfilter([1 - keep], [1, -keep], drive.astype(complex))

    level = tank((since < switch.on_s).astype(float))
    made.truth.depth = made.truth.angle_deg = None
    natural = made.field_hz + beside
    near = [(natural, 600.0), (beside, 600.0), (-beside, 600.0), (natural / 1e3, 0.6)]
    made.truth.dues = [due(READ, "ripple-track-curved"), due("antenna-mistuned", near=(near,))]
    made.truth.may |= {"ripple-track-curved", "phase-only"}
    ripple = tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * tank(states)
    return capture(made, made.samples(level * (1 + ripple)), folder)


def curved_track(rng, folder):
    """A steady field, the tank 4 to 8 kHz wide and off by 0.6 to 1.2 of it, 22 dB and more."""
    width = rng.uniform(3000, 6000)
    tag = {"bandwidth_hz": float(width), "detune_hz": float(signed(rng, 0.6, 1.2) * width), "depth": log_uniform(rng, 0.01, 0.05)}
    made = scene(rng, tag, rate_hz=1e6, seconds=rng.uniform(0.1, 0.2), ebn0_db=rng.uniform(22, 30))
    made.truth.dues.append(due("ripple-track-curved"))
    made.truth.may |= {"antenna-mistuned"}
    return capture(made, made.plain(), folder)


def slow_detector(rng, folder):
    """An envelope behind 150 to 500 Hz: bits of 4.2 kHz are all but gone."""
    tag = {"angle_deg": float(rng.uniform(-30, 30)), "bandwidth_hz": float(rng.uniform(150, 500)), "depth": log_uniform(rng, 0.02, 0.05)}
    made = scene(rng, tag, kind="envelope", rate_hz=float(rng.choice((48_000, 96_000))), seconds=rng.uniform(0.3, 0.6), ebn0_db=rng.uniform(15, 25))
    made.truth.field_hz = None
    made.truth.dues = [due("envelope-narrow", READ)]
    made.truth.may |= {"envelope-narrow", "ripple-too-weak", "little-margin"}
    return capture(made, made.plain(), folder, form="wav")


KINDS = {f.__name__.replace("_", "-"): f for f in (
    two_tags, two_tags_equal, three_tags, tags_in_turn, tag_passing, tag_restarts, flipped_bit, other_check, other_protocol, half_duplex,
    half_duplex_zeros, half_duplex_weak, field_at_the_end, field_at_the_end_bare, pings, pulses_short, antenna_mistuned, curved_track,
    slow_detector,
)}

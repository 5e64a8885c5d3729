"""Ordinary captures: a tag on every view, near its limit and far from it; fields without a tag; records without a field."""

import numpy as np
from scipy.signal import lfilter

import writers
from fdxb import FIELD_HZ, Pulses, Tag, pin_edges, random_number, sampled_pin
from findings_bench import Capture, Scene, Truth, add_tag, capture, coarse, due, log_uniform, scene
from findings_rules import READ


def strong(rng, folder):
    """Eb/N0 15 to 30 dB."""
    made = scene(rng, ebn0_db=rng.uniform(15, 30))
    return capture(made, made.plain(), folder)


def weak(rng, folder):
    """Folded to 6.5 to 9 dB: 3 dB more than half of all telegrams need. Ideal edges, so nothing else is lost."""
    made = scene(rng, {"bandwidth_hz": None}, seconds=log_uniform(rng, 0.1, 0.4), ebn0_db=0.0)
    return _at_folded(made, rng.uniform(6.5, 9), folder)


def _at_folded(made, folded_db, folder):
    tag = made.tags[0]
    made.ebn0_db = folded_db - 10 * np.log10(made.telegrams)
    made.tags, made.truth.numbers = [], []
    made.truth.may -= {"little-margin", "ripple-too-weak", "no-ripple"}
    add_tag(made, **{k: getattr(tag, k) for k in ("number", "depth", "angle_deg", "start_cycles", "sign", "bandwidth_hz", "detune_hz")})
    return capture(made, made.plain(), folder)


def short(rng, folder):
    """45 to 60 ms: one and a half telegrams to two."""
    made = scene(rng, {"bandwidth_hz": None}, seconds=rng.uniform(0.045, 0.06), ebn0_db=rng.uniform(7, 15))
    return capture(made, made.plain(), folder)


def smoothed(rng, folder):
    """Behind a tank of some 3 to 6 kHz half width, on resonance."""
    made = scene(rng, {"bandwidth_hz": float(rng.uniform(3000, 6000))}, ebn0_db=rng.uniform(12, 22))
    return capture(made, made.plain(), folder)


def long_faint(rng, folder):
    """One second at -6.5 to -8 dB: 7 to 8.5 dB folded."""
    made = scene(rng, {"bandwidth_hz": None}, rate_hz=400_000.0, seconds=1.0, ebn0_db=rng.uniform(-8, -6.5))
    return capture(made, made.plain(), folder)


def healthy_1_db(rng, folder):
    """1 dB in 45 ms: half are read, the rest are weak and nothing else."""
    made = scene(rng, {"bandwidth_hz": None}, seconds=0.045, ebn0_db=float(rng.uniform(0.5, 1.5)))
    made.truth.dues = [due(READ, "ripple-too-weak", "no-ripple")]
    return capture(made, made.plain(), folder)


def too_weak(rng, folder):
    """Folded to -8 to -1 dB: nobody can read it."""
    made = scene(rng, {"bandwidth_hz": None}, ebn0_db=0.0)
    made.truth.dues = [due("ripple-too-weak", "no-ripple", READ)]
    return _at_folded(made, rng.uniform(-8, -1), folder)


def folded_100(rng, folder):
    made = scene(rng, rate_hz=100_000.0, seconds=log_uniform(rng, 0.1, 0.5), ebn0_db=rng.uniform(10, 18))
    return capture(made, made.plain(), folder)


def folded_192(rng, folder):
    made = scene(rng, rate_hz=192_000.0, seconds=log_uniform(rng, 0.1, 0.5), ebn0_db=rng.uniform(10, 18))
    return capture(made, made.plain(), folder)


def envelope(rng, folder):
    """A detector of 5 kHz or more, 48 or 96 kS/s, half of them behind a coupling capacitor."""
    rate = float(rng.choice((48_000, 96_000)))
    tag = {"angle_deg": float(rng.uniform(-45, 45)), "bandwidth_hz": float(rng.uniform(5000, 9000)), "depth": log_uniform(rng, 0.01, 0.05)}
    made = scene(rng, tag, kind="envelope", rate_hz=rate, seconds=rng.uniform(0.2, 0.6), ebn0_db=rng.uniform(14, 22))
    made.truth.field_hz = None
    made.truth.may |= {"envelope-narrow"} if made.tags[0].bandwidth_hz < 6000 else set()
    samples = made.plain()
    if rng.random() < 0.5:
        samples = (samples - samples.mean()) * 10
    return capture(made, samples, folder, form="wav")


def iq(rng, folder):
    made = scene(rng, kind="iq", rate_hz=float(rng.choice((48_000, 96_000, 250_000))), centre_hz=FIELD_HZ + rng.uniform(-6000, 6000))
    return capture(made, made.plain(), folder)


def pin_sampled(rng, folder):
    """A demodulator's output, sampled at 100 kS/s to 1 MS/s; edges stray by microseconds."""
    rate = float(rng.choice((100_000, 250_000, 1_000_000)))
    tag = Tag(random_number(rng), start_cycles=float(rng.uniform(0, 4096)))
    start, edges = pin_edges(tag, 0.12, FIELD_HZ + rng.uniform(-13, 13), rng.uniform(0, 4e-6), rng)
    truth = Truth(numbers=[tag.number.id], dues=[due(READ)])
    writers.wav(folder / "pin.wav", 0.9 * sampled_pin(start, edges, rate, 0.12), rate, 8, 1.0)
    return Capture([str(folder / "pin.wav")], [], truth, f"{rate} {tag}")


def pin_edge_list(rng, folder):
    tag = Tag(random_number(rng), start_cycles=float(rng.uniform(0, 4096)))
    start, edges = pin_edges(tag, 0.12, FIELD_HZ + rng.uniform(-13, 13), rng.uniform(0, 4e-6), rng)
    writers.edge_list(folder / "edges.csv", start, edges)
    return Capture([str(folder / "edges.csv")], [], Truth(numbers=[tag.number.id], dues=[due(READ)]), str(tag))


def eight_bits(rng, folder):
    """An 8-bit scope, the field over 60 to 90 % of its screen, 1 MS/s; noise of more than a third of a step."""
    made = scene(rng, {"depth": log_uniform(rng, 0.01, 0.04)}, rate_hz=1e6, seconds=rng.uniform(0.07, 0.12), ebn0_db=rng.uniform(15, 20))
    samples = coarse(made, made.plain(), 8, rng.uniform(0.6, 0.9))
    return capture(made, samples, folder)


def pulsed(rng, folder):
    """50 ms on and 3 ms off, the telegram begun anew each time (timing from memory of ISO 11785)."""
    made = scene(rng, seconds=rng.uniform(0.15, 0.3), ebn0_db=rng.uniform(15, 22))
    return capture(made, _switched(made, 0.05, rng.uniform(0.003, 0.006)), folder)


def _switched(made, on_s, off_s):
    rng = made.rng
    switch = Pulses(on_s, off_s, rng.uniform(1e-4, 3e-4), rng.uniform(5e-4, 2e-3), rng.uniform(0, on_s))
    level, since = switch.at(made.times)
    relative = 1.0
    for tag in made.tags:
        on_air = made.field_hz * (since - switch.tag_delay_s)
        states = np.where(on_air < 0, -1.0, tag.half_bit(np.floor(np.maximum(on_air, 0) / 16).astype(int)))
        if tag.bandwidth_hz:
            states = _one_pole(states, tag.bandwidth_hz, made.rate_hz)
        relative = relative + tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * states
    return made.samples(level * relative)


def _one_pole(states, bandwidth_hz, rate_hz):
    """A tank on resonance, as a recursion sample by sample."""
    keep = np.exp(-2 * np.pi * bandwidth_hz / rate_hz)
    return lfilter([1 - keep], [1, -keep], states)


def pure_phase(rng, folder):
    """85 to 95 degrees: an amplitude receiver sees 9 % at most."""
    made = scene(rng, {"angle_deg": float(rng.uniform(85, 95)), "bandwidth_hz": None}, ebn0_db=rng.uniform(12, 22))
    made.truth.dues.append(due("phase-only"))
    return capture(made, made.plain(), folder)


def bare_quiet(rng, folder):
    made = scene(rng, None, noise=log_uniform(rng, 2e-4, 5e-3))
    made.truth.dues.append(due("no-ripple"))
    return capture(made, made.plain(), folder)


def bare_noisy(rng, folder):
    """Noise of a tenth of the field to as much as it."""
    made = scene(rng, None, noise=log_uniform(rng, 0.1, 1.0))
    made.truth.dues.append(due("no-ripple"))
    return capture(made, made.plain(), folder)


def bare_folded(rng, folder):
    made = scene(rng, None, rate_hz=float(rng.choice((100_000, 192_000))))
    made.truth.dues.append(due("no-ripple"))
    return capture(made, made.plain(), folder)


def bare_iq(rng, folder):
    made = scene(rng, None, kind="iq", rate_hz=float(rng.choice((48_000, 96_000, 250_000))), centre_hz=FIELD_HZ + rng.uniform(-6000, 6000))
    made.truth.dues.append(due("no-ripple"))
    return capture(made, made.plain(), folder)


def bare_eight_bits(rng, folder):
    """No tag, 8 bits, noise of a tenth of a step to one step: the steps of a steady field repeat with it."""
    share = rng.uniform(0.5, 0.9)
    made = scene(rng, None, noise=log_uniform(rng, 0.1, 1.0) * 2 / 256 / share)
    made.truth.dues.append(due("no-ripple"))
    if share * 128 < 75:
        made.truth.may.add("few-bits")
    return capture(made, coarse(made, made.plain(), 8, share), folder)


def tag_turned_away(rng, folder):
    """A switched field, and a tag whose axis lies across it: 60 dB below what could be seen."""
    made = scene(rng, {"depth": 1e-6}, seconds=rng.uniform(0.15, 0.3), ebn0_db=0.0)
    made.noise, made.truth.dues = log_uniform(rng, 1e-3, 1e-2), [due("no-ripple")]
    made.truth.may |= {"no-ripple"}
    made.truth.may -= {"ripple-too-weak", "little-margin", "phase-only"}
    return capture(made, _switched(made, 0.05, rng.uniform(0.003, 0.006)), folder)


def bare_warming(rng, folder):
    """The level sinks or rises by 0.3 to 2 % as the driver warms: less than what is called unsteady."""
    made = scene(rng, None)
    made.truth.dues.append(due("no-ripple"))
    change = rng.choice((-1, 1)) * rng.uniform(0.003, 0.02)
    return capture(made, made.samples(1 + change * (1 - np.exp(-made.times / (made.seconds * rng.uniform(0.3, 2))))), folder)


def noise_only(rng, folder):
    rate = float(rng.choice((100_000, 192_000, 500_000, 1_000_000)))
    made = Scene(rng, rate, rng.uniform(0.07, 0.3), FIELD_HZ, log_uniform(rng, 1e-3, 0.1), 0.0, noise=1.0)
    made.truth = Truth(dues=[due("no-field", "nothing-to-read")], no_field=True)
    return capture(made, made.samples(0.0), folder)


def off_frequency(rng, folder):
    """The whole reader 140 to 1700 Hz off; the tag divides what there is."""
    made = scene(rng, field_hz=FIELD_HZ + rng.choice((-1, 1)) * rng.uniform(140, 1700))
    made.truth.dues.append(due("field-off-frequency"))
    return capture(made, made.plain(), folder)


def clock_off(rng, folder):
    """25 to 125 Hz off: a crystal's or the instrument's error."""
    made = scene(rng, field_hz=FIELD_HZ + rng.choice((-1, 1)) * rng.uniform(25, 125))
    made.truth.dues.append(due("clock-off"))
    return capture(made, made.plain(), folder)


def record_short(rng, folder):
    """5 to 26 ms: less than a telegram."""
    made = scene(rng, seconds=rng.uniform(0.005, 0.026), ebn0_db=rng.uniform(10, 20))
    made.truth.dues = [due("record-too-short")]
    made.truth.field_within_hz = 40.0  # some hertz of a bin of 1 / 5 ms
    made.truth.may |= {"no-ripple", "ripple-too-weak"}  # so little of a telegram may stay unseen
    return capture(made, made.plain(), folder)


def rate_folds(rng, folder):
    """Rates at which the field's image lies within 500 Hz of the field: twice the field over a whole number."""
    rate = float(round(2 * FIELD_HZ / rng.choice((1, 3)) + rng.choice((-1, 1)) * rng.uniform(60, 400)))
    made = scene(rng, rate_hz=rate)
    made.truth.dues = [due("rate-too-low", READ)]
    made.truth.may |= {"rate-too-low", "folded"}
    made.truth.depth = made.truth.angle_deg = None  # the image lies on the data
    return capture(made, made.plain(), folder)


def offset(rng, folder):
    """A steady voltage of half the field to twice it, as behind a bias."""
    made = scene(rng, ebn0_db=rng.uniform(12, 25))
    return capture(made, made.plain(beside=float(rng.choice((-1, 1)) * rng.uniform(0.5, 2))), folder)


def pulsed_bare(rng, folder):
    """50 ms on, 3 to 20 ms off, nothing in it."""
    made = scene(rng, None, seconds=rng.uniform(0.15, 0.3))
    made.truth.dues.append(due("no-ripple"))
    return capture(made, _switched(made, 0.05, rng.uniform(0.003, 0.02)), folder)


def level_swings(rng, folder):
    """The level swings by 5 to 15 % at 2 to 9 Hz: a hand near the antenna, a loose contact. More than the 3 % of `field-unsteady`."""
    made = scene(rng, seconds=rng.uniform(0.3, 0.5), rate_hz=500_000.0)
    swing = 1 + rng.uniform(0.05, 0.15) * np.cos(2 * np.pi * rng.uniform(3, 9) * made.times + rng.uniform(0, 6))
    made.truth.dues.append(due("field-unsteady", "field-modulated"))
    made.truth.may |= {"field-unsteady", "field-modulated"}
    return capture(made, made.samples(swing * (1 + made.ripple(made.cycles))), folder)


KINDS = {f.__name__.replace("_", "-"): f for f in (
    strong, weak, short, smoothed, long_faint, healthy_1_db, too_weak, folded_100, folded_192, envelope, iq, pin_sampled, pin_edge_list,
    eight_bits, pulsed, pure_phase, bare_quiet, bare_noisy, bare_folded, bare_iq, bare_eight_bits, tag_turned_away, bare_warming,
    noise_only, off_frequency, clock_off, record_short, rate_folds, offset,
    pulsed_bare, level_swings,
)}

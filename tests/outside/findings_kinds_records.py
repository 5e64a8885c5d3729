"""What recorders, clocks and files do to a capture: gaps, gain, jitter, averaging, coding, clipping, wrong rates, channels, I/Q."""

import numpy as np

import writers
from fdxb import FIELD_HZ, pin_edges, random_tag, sampled_pin
from findings_bench import Capture, capture, coarse, due, frequency_codes, log_uniform, scene, signed, store
from findings_rules import READ


def _drifting(made):
    """The field's frequency moves by 30 to 300 Hz, evenly: an oscillator of coil and capacitor warming up."""
    change = signed(made.rng, 30, 300)
    made.truth.field_within_hz = abs(change) / 2 + 5
    made.truth.may |= {"clock-off", "field-off-frequency"}
    made.truth.dues.append(due("clock-drift"))
    return made.cycles + change * (made.times**2 / made.seconds - made.times) / 2


def clock_drift_bare(rng, folder):
    made = scene(rng, None, seconds=rng.uniform(0.15, 0.4))
    return capture(made, made.samples(1.0, _drifting(made)), folder)


def clock_drift_tag(rng, folder):
    """The tag divides the field there is, so its telegrams lie on each other in field cycles."""
    made = scene(rng, seconds=rng.uniform(0.15, 0.4))
    cycles = _drifting(made)
    made.truth.dues = [due(READ, "clock-drift")]
    return capture(made, made.samples(1 + made.ripple(cycles), cycles), folder)


def clock_warming(rng, folder):
    """After switching on the frequency creeps by 40 to 300 Hz, fast first."""
    made = scene(rng, None, seconds=rng.uniform(0.15, 0.4))
    change, tau = signed(rng, 40, 300), made.seconds * rng.uniform(0.3, 1)
    made.truth.field_within_hz = abs(change) + 5
    made.truth.may |= {"clock-off", "field-off-frequency"}
    made.truth.dues.append(due("clock-drift"))
    hertz = made.field_hz + change * (1 - np.exp(-made.times / tau))
    return capture(made, made.samples(1.0, np.cumsum(hertz) / made.rate_hz), folder)


def clock_hops_bare(rng, folder):
    """The frequency jumps between two to four values 40 to 400 Hz apart every 5 to 30 ms, without a step of phase."""
    made = scene(rng, None, seconds=rng.uniform(0.15, 0.4))
    values = np.cumsum(rng.uniform(40, 400, rng.integers(2, 5)))
    values = values - values.mean()
    dwell = rng.uniform(0.005, 0.03)
    slots = rng.integers(0, values.size, int(made.seconds / dwell) + 2)
    slots = np.where(np.diff(slots, prepend=-1) == 0, (slots + 1) % values.size, slots)
    hertz = made.field_hz + values[slots[(made.times / dwell).astype(int)]]
    made.truth.field_hz = None
    made.truth.may |= {"clock-off", "field-off-frequency"}
    made.truth.dues = [due("clock-hops")]
    return capture(made, made.samples(1.0, np.cumsum(hertz) / made.rate_hz), folder)


def sampling_jitter(rng, folder):
    """Instants stray by 60 to 300 ns, each on its own: 0.05 to 0.25 rad, ten times what noise there is besides."""
    made = scene(rng, None, noise=log_uniform(rng, 1e-3, 5e-3))
    stray = log_uniform(rng, 60e-9, 300e-9) * rng.standard_normal(made.times.size)
    made.truth.dues = [due("sampling-jitter")]
    return capture(made, made.samples(1.0, made.field_hz * (made.times + stray)), folder)


def gain_steps(rng, folder):
    """The recorder changes its range one to four times by 1 to 6 dB: field, noise and ripple step together between two samples."""
    made = scene(rng, rng.choice((True, None)) or None, seconds=rng.uniform(0.1, 0.4))
    places = np.sort(rng.uniform(0.1, 0.9, rng.integers(1, 5)))
    gains = np.cumprod(np.concatenate([[1], 10 ** (rng.choice((-1, 1), places.size) * rng.uniform(1, 6, places.size) / 20)]))
    made.truth.dues = [due("gain-steps", READ)] if made.tags else [due("gain-steps")]
    made.truth.may |= {"gain-steps", "field-unsteady"}
    return capture(made, made.plain() * gains[np.searchsorted(places, made.times / made.seconds)], folder)


def averaged_record(rng, folder):
    """8, 16 or 32 sweeps of a scope triggered by the field, averaged: every sweep has the tag somewhere else in its telegram."""
    made = scene(rng, {"depth": log_uniform(rng, 0.01, 0.05)}, rate_hz=500_000.0, seconds=0.1, noise=0.004)
    made.noise = 0.004
    tag, total, sweeps = made.tags[0], 0.0, int(rng.choice((8, 16, 32)))
    for _ in range(sweeps):
        made.tags = [random_tag(rng, number=tag.number, depth=tag.depth, angle_deg=tag.angle_deg, bandwidth_hz=tag.bandwidth_hz)]
        total = total + coarse(made, made.plain(), 8, 0.8)
    made.tags = [tag]
    made.truth.depth = made.truth.angle_deg = None
    made.truth.dues = [due("averaged-record", READ)]
    return capture(made, total / sweeps, folder)


def peak_detect_record(rng, folder):
    """Each pair of samples is the least and the largest of an interval of 4 to 40 microseconds, as seen by a fast converter."""
    made = scene(rng, {"depth": log_uniform(rng, 0.01, 0.05)}, rate_hz=8e6, seconds=0.08, ebn0_db=rng.uniform(15, 25))
    fine = made.plain()
    width = int(rng.choice((32, 64, 160, 320)))
    blocks = fine[: fine.size // width * width].reshape(-1, width)
    made.rate_hz = 2 * made.rate_hz / width
    made.truth.field_hz = made.truth.depth = made.truth.angle_deg = None
    made.truth.may |= {"folded"}
    if width >= 160:  # each interval holds both peaks of the field: what is left alternates between two levels
        made.truth.may |= {"nothing-to-read"}
    made.truth.dues = [due("peak-detect-record")]
    return capture(made, np.stack([blocks.min(axis=1), blocks.max(axis=1)], axis=1).ravel(), folder, form=str(rng.choice(("wav", "npy"))))


def lossy_compression(rng, folder):
    """A transform coder: frames of 1024 that overlap by half under a sine window, cosines 40 to 55 dB below the frame's largest
    dropped, the others in coarse steps."""
    made = scene(rng, rate_hz=float(rng.choice((192_000, 500_000))), seconds=rng.uniform(0.1, 0.3), ebn0_db=rng.uniform(15, 25))
    made.truth.dues = [due("lossy-compression")]
    made.truth.may |= {"ripple-too-weak", "no-ripple", "little-margin"}  # what is dropped is not there
    made.truth.depth = made.truth.angle_deg = None
    return capture(made, _coded(made.plain(), 512, rng.uniform(40, 55)), folder)


def _coded(samples, half, below_db):
    window = np.sin(np.pi * (np.arange(2 * half) + 0.5) / (2 * half))
    basis = np.cos(np.pi / half * (np.arange(2 * half)[:, None] + 0.5 + half / 2) * (np.arange(half)[None, :] + 0.5))
    padded = np.concatenate([np.zeros(half), samples, np.zeros(2 * half)])
    out = np.zeros(padded.size)
    for start in range(0, padded.size - 2 * half, half):
        lines = (padded[start : start + 2 * half] * window) @ basis
        step = np.max(np.abs(lines)) * 10 ** (-below_db / 20)
        lines = np.round(lines / (2 * step)) * 2 * step if step else lines
        out[start : start + 2 * half] += (basis @ lines) * window * 2 / half
    return out[half : half + samples.size]


def _dropped(made, samples, limit):
    """One to four runs of samples taken out; the field's phase jumps by 0.1 to 0.9 of a cycle at each."""
    rng = made.rng
    for place in np.sort(rng.uniform(0.1, 0.9, rng.integers(1, 5)))[::-1]:
        while True:
            lost = int(log_uniform(rng, 1, limit))
            if 0.1 < made.field_hz * lost / made.rate_hz % 1 < 0.9:
                break
        at = int(place * samples.size)
        samples = np.delete(samples, slice(at, at + lost))
    return samples


def dropped_samples_tag(rng, folder):
    made = scene(rng, seconds=rng.uniform(0.25, 0.4))
    made.truth.dues = [due(READ), due("gap")]
    return capture(made, _dropped(made, made.plain(), 3000), folder)


def dropped_samples_bare(rng, folder):
    made = scene(rng, None, seconds=rng.uniform(0.2, 0.4))
    made.truth.dues = [due("gap")]
    return capture(made, _dropped(made, made.plain(), 3000), folder)


def time_gaps(rng, folder):
    """A time column that leaps by 1 to 20 ms once or twice, as segmented memories write it."""
    made = scene(rng, seconds=rng.uniform(0.15, 0.2), rate_hz=400_000.0)
    samples, times, keep = made.plain(), made.times, np.ones(made.times.size, dtype=bool)
    for place in rng.uniform(0.2, 0.8, rng.integers(1, 3)):
        keep &= np.abs(times - place * made.seconds) > rng.uniform(0.0005, 0.01)
    path = folder / "segments.csv"
    rows = (f"{t:.8f},{v:.6e}" for t, v in zip(times[keep], samples[keep]))
    path.write_text("time (s),volt (V)\n" + "\n".join(rows) + "\n")
    made.truth.dues = [due(READ), due("gap")]
    return Capture([str(path)], [], made.truth, str(made.tags))


def lost_buffer(rng, folder):
    """One to three buffers of 256 to 8192 samples overwritten with nothing, or with the one before: no antenna falls silent in a sample."""
    made = scene(rng, seconds=rng.uniform(0.2, 0.4))
    samples, size = made.plain(), int(rng.choice((256, 1024, 4096, 8192)))
    blocks = samples.size // size
    for block in rng.choice(np.arange(2, blocks - 1), rng.integers(1, 4)):
        before = samples[(block - 1) * size : block * size].copy()
        samples[block * size : (block + 1) * size] = 0 if rng.random() < 0.6 else before
    made.truth.dues = [due(READ), due("gap")]
    return capture(made, samples, folder)


def clipped_both(rng, folder):
    """The converter's range ends at 60 to 97 % of the field's peak."""
    made, at = _overdriven(rng)
    return capture(made, np.clip(made.plain(), -at, at), folder, form="wav", full=at)


def clipped_one_side(rng, folder):
    """An offset carries the tops alone over the end of the range."""
    made, at = _overdriven(rng)
    full = (at + 1.1 * made.amplitude) / 2
    return capture(made, np.clip(made.plain() + full - at, -full, full), folder, form="wav", full=full)


def _overdriven(rng):
    made = scene(rng, ebn0_db=rng.uniform(15, 25))
    made.truth.dues = [due("clipping")]
    made.truth.may |= {"no-ripple", "ripple-too-weak", "little-margin", "phase-only"}  # the amplitude's part is cut off
    return made, made.amplitude * rng.uniform(0.6, 0.97)


def clipped_bare(rng, folder):
    made = scene(rng, None)
    at = made.amplitude * rng.uniform(0.6, 0.97)
    made.truth.dues = [due("clipping")]
    return capture(made, np.clip(made.plain(), -at, at), folder, form="wav", full=at)


def few_bits(rng, folder):
    """A field 4 to 25 steps high (peak), with noise enough to carry the ripple across them."""
    made = scene(rng, {"depth": log_uniform(rng, 0.01, 0.05)}, seconds=rng.uniform(0.1, 0.2), ebn0_db=rng.uniform(8, 12))
    samples = coarse(made, made.plain(), 8, rng.uniform(4, 25) / 128)
    made.truth.dues = [due("few-bits")]
    made.truth.may |= {"ripple-too-weak", "no-ripple", "little-margin"}
    made.truth.depth = made.truth.angle_deg = None  # no ripple of a fraction of a step keeps its size
    return capture(made, samples, folder)


def rate_by_ten(rng, folder):
    """The file's rate is ten times too high or too low: the field would lie at 1342 or 13.42 kHz, its bits a 32nd of that."""
    made = scene(rng)
    stated = made.rate_hz * float(rng.choice((0.1, 10.0)))
    made.truth.field_hz = None
    made.truth.may |= {"rate-too-low"} if stated < made.rate_hz else set()
    made.truth.dues = [due("wrong-rate", near=([(made.rate_hz, 0.003 * made.rate_hz), (made.rate_hz / 1e3, 3e-6 * made.rate_hz)],))]
    return capture(made, made.plain(), folder, form="wav", rate_hz=stated)


def rate_by_1024(rng, folder):
    """Thousands taken for 1024s, or the reverse: the field reads 131.05 or 137.42 kHz, and the bits are a 32nd of that."""
    made = scene(rng)
    stated = made.rate_hz * float(rng.choice((1.024, 1 / 1.024)))
    made.truth.field_hz = None
    made.truth.may |= {"field-off-frequency"}
    fits = [(made.rate_hz, 0.003 * made.rate_hz), (made.rate_hz / 1e3, 3e-6 * made.rate_hz), (1.024, 1e-4), (1 / 1.024, 1e-4)]
    made.truth.dues = [due("wrong-rate", "field-off-frequency", near=(fits,))]
    return capture(made, made.plain(), folder, form="wav", rate_hz=round(stated))


def _unit_missing(rng, folder, per_second, digits):
    made = scene(rng, rate_hz=500_000.0, seconds=rng.uniform(0.05, 0.1))
    path = folder / "scope.csv"
    rows = (f"{t * per_second:.{digits}f},{v:.6e}" for t, v in zip(made.times, made.plain()))
    path.write_text("Time,CH1\n" + "\n".join(rows) + "\n")
    made.truth.field_hz = None
    fits = [(made.rate_hz, 0.003 * made.rate_hz), (made.rate_hz / 1e3, 3e-6 * made.rate_hz), (per_second, 0.1), (1 / per_second, 0.01 / per_second)]
    made.truth.dues = [due("wrong-rate", "rate-too-low", near=(fits,))]
    made.truth.may |= {"rate-assumed"}
    return Capture([str(path)], [], made.truth, f"{per_second} a second, {made.tags}")


def time_in_ms(rng, folder):
    """A time column in milliseconds, and nothing that says so."""
    return _unit_missing(rng, folder, 1e3, 6)


def time_in_us(rng, folder):
    return _unit_missing(rng, folder, 1e6, 3)


def channel_beside_noise(rng, folder):
    """Two channels: one open with noise or mains on it, the other with the field."""
    made = scene(rng)
    samples = made.plain()
    other = made.amplitude * (0.02 * rng.standard_normal(samples.size) + rng.uniform(0, 0.5) * np.cos(2 * np.pi * 50 * made.times))
    made.truth.may.add("hum")  # true of the other channel
    return _two(made, samples, other, folder)


def channel_beside_logic(rng, folder):
    """Two channels: a line of the bench's processor (a clock of 0.5 to 20 kHz, or a serial line), and the field."""
    made = scene(rng)
    samples = made.plain()
    return _two(made, samples, made.amplitude * 1.2 * _line(made) + 0.002 * rng.standard_normal(samples.size), folder)


def _line(made):
    rng = made.rng
    if rng.random() < 0.5:
        return (np.mod(made.times * log_uniform(rng, 500, 20_000), 1) < 0.5).astype(float)
    baud = float(rng.choice((9600, 38_400, 115_200)))
    return rng.integers(0, 2, int(made.seconds * baud) + 2)[(made.times * baud).astype(int)].astype(float)


def _two(made, samples, other, folder):
    pair = [samples, other] if made.rng.random() < 0.5 else [other, samples]
    full = 1.3 * max(np.max(np.abs(samples)), np.max(np.abs(other)))
    writers.wav(folder / "two.wav", pair, made.rate_hz, 16, full)
    return Capture([str(folder / "two.wav")], [], made.truth, str(made.tags))


def channel_beside_pin(rng, folder):
    """The field of another bench without a tag on one channel, and a demodulator's pin with the number on the other."""
    made = scene(rng, None, rate_hz=500_000.0, seconds=rng.uniform(0.1, 0.2))
    tag = random_tag(rng)
    start, edges = pin_edges(tag, made.seconds, made.field_hz, 1e-6, rng)
    made.truth.numbers, made.truth.dues = [tag.number.id], [due(READ)]
    pin = sampled_pin(start, edges, made.rate_hz, made.seconds)[: made.times.size]
    return _two(made, made.plain(), made.amplitude * 1.1 * pin, folder)


IQ_RATES_HZ = (48_000.0, 96_000.0, 250_000.0)


def _iq(rng, tag=True, **given):
    return scene(rng, tag, **(dict(kind="iq", rate_hz=float(rng.choice(IQ_RATES_HZ)), centre_hz=FIELD_HZ + signed(rng, 800, 8000)) | given))


def iq_exchanged(rng, folder):
    """I and Q exchanged: the field lies as far on the other side of the centre, and the bits are not a 32nd of what it then seems."""
    made = _iq(rng, seconds=rng.uniform(0.15, 0.35))
    samples = made.plain()
    made.truth.field_hz = made.truth.depth = made.truth.angle_deg = None
    made.truth.may |= {"field-off-frequency", "clock-off", "wrong-centre"}  # another centre would fit as well
    made.truth.dues = [due("mirrored-iq", "wrong-centre")]
    return capture(made, samples.imag + 1j * samples.real, folder)


def iq_image(rng, folder):
    """Gain and phase of I and Q differ: an image of the field 20 to 40 dB below it, mirrored at the centre."""
    made = _iq(rng, rng.choice((True, None)) or None)
    samples = made.plain()
    image = 10 ** (rng.uniform(-40, -20) / 20) * np.exp(2j * np.pi * rng.random())
    made.truth.dues = [due(READ)] if made.tags else [due("iq-image", "mirrored-iq")]
    made.truth.may |= {"iq-image", "mirrored-iq"}
    return capture(made, samples + image * np.conj(samples), folder)


def iq_dc_spike(rng, folder):
    """The receiver's own line at the centre, 1 % of the field to as much."""
    made = _iq(rng, rng.choice((True, None)) or None)
    spike = made.amplitude * log_uniform(rng, 0.01, 1.0) * np.exp(2j * np.pi * rng.random())
    made.truth.dues = [due(READ)] if made.tags else [due("dc-spike")]
    made.truth.may |= {"dc-spike"}
    return capture(made, made.plain() + spike, folder)


def iq_centre_wrong(rng, folder):
    """The stated centre is 30 to 1500 Hz off; the tag's bits tell the field's true frequency to some hertz."""
    made = _iq(rng, {"depth": log_uniform(rng, 0.01, 0.05)}, seconds=rng.uniform(0.2, 0.35), ebn0_db=rng.uniform(15, 25))
    samples, true_hz = made.plain(), made.centre_hz
    made.centre_hz += rng.choice((-1, 1)) * log_uniform(rng, 30, 1500)
    shown = made.field_hz + made.centre_hz - true_hz
    made.truth.field_hz = None  # 134.2 kHz is true, and so is what the file says
    frequency_codes(made.truth, shown)
    made.truth.dues = [due("wrong-centre", near=([(true_hz, 20.0), (true_hz / 1e3, 0.02), (abs(shown - made.field_hz), 20.0)],))]
    return capture(made, samples, folder)


def iq_centre_missing(rng, folder):
    """Nothing states the centre; the number needs none."""
    made = _iq(rng)
    files, arguments = store(made, made.plain(), folder)
    made.truth.field_hz = None
    made.truth.may |= {"wrong-centre", "rate-assumed"}
    return Capture(files, arguments[:2], made.truth, str(made.tags))


KINDS = {f.__name__.replace("_", "-"): f for f in (
    clock_drift_bare, clock_drift_tag, clock_warming, clock_hops_bare, sampling_jitter, gain_steps, averaged_record, peak_detect_record,
    lossy_compression, dropped_samples_tag, dropped_samples_bare, time_gaps, lost_buffer, clipped_both, clipped_one_side, clipped_bare,
    few_bits, rate_by_ten, rate_by_1024, time_in_ms, time_in_us, channel_beside_noise, channel_beside_logic, channel_beside_pin,
    iq_exchanged, iq_image, iq_dc_spike, iq_centre_wrong, iq_centre_missing,
)}

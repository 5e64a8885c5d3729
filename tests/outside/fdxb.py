"""FDX-B telegrams and captures in numpy, written from the standards' tables alone and sharing no code with the crate.

Conventions: times in seconds, frequencies in hertz, angles in degrees, amplitudes are peak values.
The received voltage is x(t) = Re{A(t) exp(+j w t)} with A(t) = A0 + r(t); the ripple r(t) = R s(t), s = -1 or +1.
Depth is rms|r| / |A0|, the ripple angle is the argument of R / A0.
"""

from dataclasses import dataclass, field, replace

import numpy as np

FIELD_HZ = 134_200.0  # encyclopedia article "ISO 11784 and ISO 11785"
CYCLES_PER_BIT = 32  # same article: 4193.75 bit/s
HALF_BIT_CYCLES = CYCLES_PER_BIT // 2
TELEGRAM_BITS = 128
TELEGRAM_CYCLES = TELEGRAM_BITS * CYCLES_PER_BIT


@dataclass(frozen=True)
class Number:
    """The fields of a 64-bit code. Places 2-9 (retag, user) are from memory of ISO 11784 Amd 1."""

    country: int = 999
    national: int = 1
    animal: int = 1
    retag: int = 0
    user: int = 0
    reserved: int = 0
    data_block: int = 0
    trailer: int = 0

    @property
    def code(self):
        parts = (
            (self.animal, 1, 63),
            (self.retag, 3, 60),
            (self.user, 5, 55),
            (self.reserved, 6, 49),
            (self.data_block, 1, 48),
            (self.country, 10, 38),
            (self.national, 38, 0),
        )
        word = 0
        for value, width, weight in parts:
            if not 0 <= value < 1 << width:
                raise ValueError(f"{value} does not fit {width} bits")
            word |= value << weight
        return word

    @property
    def crc(self):
        return crc_kermit(self.code.to_bytes(8, "little"))

    @property
    def id(self):
        return f"{self.country:03d}{self.national:012d}"


def crc_kermit(data):
    """Bit by bit, as a shift register works: x^16+x^12+x^5+1, start 0, least significant bit first (CRC-16/KERMIT)."""
    register = 0
    for byte in data:
        for place in range(8):
            feedback = (register ^ (byte >> place)) & 1
            register >>= 1
            if feedback:
                register ^= 0x8408
    return register


def telegram_bits(number):
    """The 128 bits in the order they are sent: header, then code, CRC and trailer with a 1 after every eighth bit."""

    def least_first(value, width):
        return [(value >> place) & 1 for place in range(width)]

    payload = least_first(number.code, 64) + least_first(number.crc, 16) + least_first(number.trailer, 24)
    bits = [0] * 10 + [1]
    for start in range(0, len(payload), 8):
        bits += payload[start : start + 8] + [1]
    assert len(bits) == TELEGRAM_BITS
    return np.array(bits)


def half_bit_states(bits):
    """Load states of each half bit, -1 or +1, the first one being +1; and the factor from one telegram to the next.

    Differential biphase: the level changes at the start of every bit, and once more in the middle of a 0.
    """
    level, states = -1, []
    for bit in bits:
        level = -level
        states.append(level)
        if not bit:
            level = -level
        states.append(level)
    # The next telegram starts with -level where this one started with +1.
    return np.array(states, dtype=float), -level


@dataclass(frozen=True)
class Tag:
    """One transponder in the field. `start_cycles` is the place in the telegram (0..4096) at time 0."""

    number: Number
    depth: float = 0.01
    angle_deg: float = 0.0
    start_cycles: float = 0.0
    sign: int = 1
    bandwidth_hz: float | None = None  # None: ideal edges; else one complex pole, see `smoothed`
    detune_hz: float = 0.0

    def half_bit(self, index):
        """Load state of half bit `index`, an array of whole numbers counted from a telegram's start."""
        states, parity = half_bit_states(telegram_bits(self.number))
        telegram, place = np.divmod(index, states.size)
        return self.sign * states[place] * np.where(telegram % 2 == 0, 1.0, float(parity))

    def states(self, cycles):
        """h * s at the given field-cycle counts; with ideal edges the plain load states."""
        cycles = np.asarray(cycles, dtype=float)
        if self.bandwidth_hz is None or cycles.size == 0:
            return self.half_bit(np.floor(cycles / HALF_BIT_CYCLES).astype(np.int64))
        return self.smoothed(cycles)

    def smoothed(self, cycles):
        """Exact response of h(t) = p exp(-p t), p = 2 pi (bandwidth + j detune): between two edges an exponential."""
        pole = 2 * np.pi * (self.bandwidth_hz + 1j * self.detune_hz) / FIELD_HZ  # per field cycle
        first = int(np.floor(cycles.min() / HALF_BIT_CYCLES)) - 512  # settled long before the first sample
        last = int(np.floor(cycles.max() / HALF_BIT_CYCLES))
        levels = self.half_bit(np.arange(first, last + 1))
        decay = np.exp(-pole * HALF_BIT_CYCLES)
        at_edge = np.empty(levels.size, dtype=complex)
        value = 0j
        for k, level in enumerate(levels):
            at_edge[k] = value
            value = level + (value - level) * decay
        index = np.floor(cycles / HALF_BIT_CYCLES).astype(np.int64)
        since = cycles - index * HALF_BIT_CYCLES
        level = levels[index - first]
        return level + (at_edge[index - first] - level) * np.exp(-pole * since)


@dataclass(frozen=True)
class Pulses:
    """A field that is switched: on, off, on, ... from time 0; the tag starts a fresh telegram a fixed delay after each start."""

    on_s: float = 0.050
    off_s: float = 0.003
    tau_s: float = 0.0002  # ring-up and ring-down of the antenna
    tag_delay_s: float = 0.001
    lead_s: float = 0.0  # how far into the first on-time the record starts

    def at(self, times):
        """Field envelope 0..1 and seconds since the last field start."""
        period = self.on_s + self.off_s
        since = np.mod(times + self.lead_s, period)
        up = 1 - np.exp(-since / self.tau_s)
        top = 1 - np.exp(-self.on_s / self.tau_s)
        down = top * np.exp(-np.maximum(since - self.on_s, 0) / self.tau_s)
        return np.where(since < self.on_s, up, down), since


@dataclass(frozen=True)
class Bench:
    """Everything around the tags. `kind` is "real" (the voltage itself), "envelope" (rectified, no carrier) or "iq"."""

    rate_hz: float = 500_000.0
    seconds: float = 0.1
    kind: str = "real"
    centre_hz: float = FIELD_HZ
    field_hz: float = FIELD_HZ
    drift_hz: float = 0.0  # by so much more at the end than at the beginning, field_hz in the middle
    amplitude: float = 1.0
    phase_deg: float = 0.0
    ebn0_db: float | None = 18.0  # of the first tag; None: no noise
    noise_sigma: float | None = None  # instead of ebn0_db, where there is no tag
    dc: float = 0.0
    clock_error: float = 0.0  # true sample rate = rate_hz * (1 + clock_error), the file says rate_hz
    bits: int | None = None  # digitiser; None: none
    range: float = 1.25  # digitiser takes -range .. +range
    count_quantiser: bool = False  # the step's own noise, step^2/12, is part of ebn0_db
    pulses: Pulses | None = None
    tones: tuple = field(default=())  # (hertz, amplitude, phase in degrees), e.g. a second reader


@dataclass
class Capture:
    """Samples (volts, before any file format) and what is known about them."""

    samples: np.ndarray
    bench: Bench
    tags: tuple
    sigma: float  # white noise per sample; per quadrature for "iq"

    @property
    def step(self):
        return 2 * self.bench.range / 2**self.bench.bits if self.bench.bits else 0.0


def sigma_for(bench, ripple_rms):
    """Noise of one sample for the bench's Eb/N0; N0 = 2 sigma^2 / rate is the one-sided density.

    Real samples of a carrier hold half the power of their phasor, so Eb = r^2 T_b / 2; without a carrier, and for
    I/Q (sigma per quadrature), Eb = r^2 T_b.
    """
    if bench.noise_sigma is not None:
        return bench.noise_sigma
    if bench.ebn0_db is None or ripple_rms == 0:
        return 0.0
    ratio = 10 ** (bench.ebn0_db / 10)
    true_rate = bench.rate_hz * (1 + bench.clock_error)
    bit_energy = ripple_rms**2 * CYCLES_PER_BIT / bench.field_hz
    if bench.kind == "real":
        bit_energy /= 2
    variance = bit_energy / ratio * true_rate / 2
    if bench.count_quantiser and bench.bits:
        variance -= (2 * bench.range / 2**bench.bits) ** 2 / 12
        if variance < 0:
            raise ValueError("the digitiser alone is noisier than the Eb/N0 asked for")
    return float(np.sqrt(variance))


def ripple_capture(bench, tags=(), rng=None):
    """Samples of a bench: the load edges lie in continuous field-cycle time, nothing is averaged or band-limited."""
    rng = rng or np.random.default_rng(0)
    tags = (tags,) if isinstance(tags, Tag) else tuple(tags)
    count = int(round(bench.rate_hz * bench.seconds))
    times = np.arange(count) / (bench.rate_hz * (1 + bench.clock_error))
    envelope = np.ones(count)
    if bench.pulses:
        envelope, since = bench.pulses.at(times)

    relative = np.zeros(count, dtype=complex)  # r(t) / A0 of a steady field
    ripple_rms = 0.0
    drifted = bench.drift_hz * (times**2 / bench.seconds - times) / 2  # cycles
    for place, tag in enumerate(tags):
        if bench.pulses:
            cycles = bench.field_hz * (since - bench.pulses.tag_delay_s)
            states = np.where(cycles < 0, -tag.sign, tag.states(np.maximum(cycles, 0)))
        else:
            states = tag.states(bench.field_hz * times + drifted + tag.start_cycles)
        relative += tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * states
        if place == 0:
            ripple_rms = bench.amplitude * tag.depth * np.sqrt(np.mean(np.abs(states) ** 2))

    sigma = sigma_for(bench, ripple_rms)
    phasor = bench.amplitude * np.exp(1j * np.radians(bench.phase_deg)) * envelope * (1 + relative)
    if bench.kind == "envelope":
        samples = np.abs(phasor)
    else:
        shift = bench.centre_hz if bench.kind == "iq" else 0.0
        samples = phasor * np.exp(2j * np.pi * ((bench.field_hz - shift) * times + drifted))
        for hertz, amplitude, phase_deg in bench.tones:
            samples += amplitude * np.exp(1j * (2 * np.pi * (hertz - shift) * times + np.radians(phase_deg)))
        if bench.kind == "real":
            samples = samples.real
    samples = samples + bench.dc + sigma * rng.standard_normal(count)
    if bench.kind == "iq":
        samples = samples + 1j * sigma * rng.standard_normal(count)
    capture = Capture(samples, bench, tags, sigma)
    if bench.bits:
        capture.samples = quantise(samples, bench.bits, bench.range)
    return capture


def quantise(samples, bits, full):
    """Rounded to the digitiser's steps and clipped at its range; still in volts."""
    if np.iscomplexobj(samples):
        return quantise(samples.real, bits, full) + 1j * quantise(samples.imag, bits, full)
    step = 2 * full / 2**bits
    return np.clip(np.round(samples / step), -(2 ** (bits - 1)), 2 ** (bits - 1) - 1) * step


HALF_DUPLEX_BITS = 112  # encyclopedia article "ISO 11784 and ISO 11785"; header, order and places from memory
TONE_CYCLES = 16  # same article: 16 cycles a bit, 1 = 124.2 kHz, 0 = 134.2 kHz


def half_duplex_bits(number):
    """The 112 bits of a half-duplex transponder in the order they are sent: no control bits."""
    parts = ((0x7E, 8), (number.code, 64), (number.crc, 16), (number.trailer, 24))
    bits = [(value >> place) & 1 for value, width in parts for place in range(width)]
    assert len(bits) == HALF_DUPLEX_BITS
    return bits


def half_duplex_answer(number, times, zero_hz=134_200.0, one_hz=124_200.0, decay_s=np.inf):
    """Analytic signal of one answer that begins at time 0; nothing before and after. Every bit is 16 whole cycles of its tone."""
    tones = np.array([one_hz if bit else zero_hz for bit in half_duplex_bits(number)])
    edges = np.concatenate(([0.0], np.cumsum(TONE_CYCLES / tones)))
    place = np.searchsorted(edges, times, side="right") - 1
    inside = (place >= 0) & (place < tones.size)
    place = np.clip(place, 0, tones.size - 1)
    wave = np.exp(2j * np.pi * tones[place] * (times - edges[place]) - np.maximum(times, 0) / decay_s)
    return np.where(inside, wave, 0)


def half_duplex_capture(number, rng, rate_hz=500_000.0, ebn0_db=15.0, level=0.01, on_s=0.05, off_s=0.02, pauses=2, tau_s=1e-4, delay_s=0.0015,
                        zero_hz=134_200.0, one_hz=124_200.0, decay_s=np.inf):
    """Real samples: a field of 1 V switched on and off, an answer in every pause, white noise. Eb is A^2/2 times the mean bit."""
    period = on_s + off_s
    times = np.arange(int(round(rate_hz * (pauses * period + 0.01)))) / rate_hz
    envelope, since = Pulses(on_s=on_s, off_s=off_s, tau_s=tau_s).at(times)
    samples = (envelope * np.exp(2j * np.pi * (FIELD_HZ * times + rng.random()))).real
    turn = np.floor(times / period).astype(int)
    for pause in range(turn.max() + 1):
        here = np.flatnonzero((turn == pause) & (since >= on_s))
        answer = half_duplex_answer(number, since[here] - on_s - delay_s, zero_hz, one_hz, decay_s)
        samples[here] += level * (answer * np.exp(2j * np.pi * rng.random())).real
    energy = level**2 / 2 * TONE_CYCLES * (1 / zero_hz + 1 / one_hz) / 2
    sigma = np.sqrt(energy / 10 ** (ebn0_db / 10) * rate_hz / 2)
    return samples + sigma * rng.standard_normal(times.size)


def read_only_word(data):
    """The 64 bits of a 125 kHz read-only tag (from memory): nine 1s, ten rows of four bits and even parity, column parities, 0."""
    rows = [[(data >> (36 - 4 * row)) >> (3 - column) & 1 for column in range(4)] for row in range(10)]
    bits = [1] * 9
    for row in rows:
        bits += row + [sum(row) % 2]
    return bits + [sum(column) % 2 for column in zip(*rows)] + [0]


def manchester_states(bits, cycles_per_bit=64):
    """Load states (-1, +1), one a field cycle: a 1 begins with +1."""
    return np.concatenate([np.repeat([1, -1] if bit else [-1, 1], cycles_per_bit // 2) for bit in bits])


def load_fsk_states(bits, cycles_per_bit=50):
    """Load states, one a field cycle: a 1 is whole periods of ten cycles, a 0 of eight; the rest of the bit keeps the last state."""
    states = []
    for bit in bits:
        period = 10 if bit else 8
        whole = cycles_per_bit // period
        wave = ([1] * (period // 2) + [-1] * (period // 2)) * whole
        states += wave + [-1] * (cycles_per_bit - len(wave))
    return np.array(states)


def load_samples(states, times, field_hz, start_cycles, depth, angle_deg, phase_deg):
    """Noiseless real samples of a field of 1 V whose load goes through these states over and over, one a field cycle."""
    place = np.floor(np.mod(field_hz * times - start_cycles, states.size)).astype(int) % states.size
    ripple = depth * np.exp(1j * np.radians(angle_deg)) * states[place]
    return ((1 + ripple) * np.exp(1j * (2 * np.pi * field_hz * times + np.radians(phase_deg)))).real


def pin_edges(tag, seconds, field_hz=FIELD_HZ, jitter_s=0.0, rng=None):
    """A demodulator's output pin: the state (0 or 1) at time 0, and the times at which it changes."""
    rng = rng or np.random.default_rng(0)
    first = int(np.floor(tag.start_cycles / HALF_BIT_CYCLES))
    last = int(np.floor((tag.start_cycles + seconds * field_hz) / HALF_BIT_CYCLES))
    index = np.arange(first, last + 1)
    levels = tag.half_bit(index)
    changed = np.flatnonzero(np.diff(levels)) + 1
    times = (index[changed] * HALF_BIT_CYCLES - tag.start_cycles) / field_hz
    times = np.sort(times + jitter_s * rng.standard_normal(times.size))
    before = int(np.count_nonzero(times <= 0))  # jitter may carry an edge across the start
    return (int(levels[0] > 0) + before) % 2, times[(times > 0) & (times < seconds)]


def sampled_pin(start, edges, rate_hz, seconds):
    """The pin as a logic recorder samples it: 0 or 1 at every sample."""
    times = np.arange(int(round(rate_hz * seconds))) / rate_hz
    return (start + np.searchsorted(edges, times, side="right")) % 2


def random_number(rng):
    """Any number the code has room for, retagging and user fields included; one in four carries a trailer."""
    data_block = int(rng.random() < 0.25)
    return Number(
        country=int(rng.integers(0, 1024)),
        national=int(rng.integers(0, 2**38)),
        animal=int(rng.integers(0, 2)),
        retag=int(rng.integers(0, 8)),
        user=int(rng.integers(0, 32)),
        data_block=data_block,
        trailer=int(rng.integers(0, 2**24)) if data_block else 0,
    )


def random_tag(rng, **settings):
    """A random number at a random place of its telegram, at a random angle unless one is given."""
    drawn = dict(
        number=random_number(rng),
        angle_deg=float(rng.uniform(-90, 90)),
        start_cycles=float(rng.uniform(0, TELEGRAM_CYCLES)),
        sign=int(rng.choice((-1, 1))),
    )
    return Tag(**(drawn | settings))


__all__ = [
    "Bench", "Capture", "Number", "Pulses", "Tag", "FIELD_HZ", "CYCLES_PER_BIT", "TELEGRAM_CYCLES",
    "crc_kermit", "half_bit_states", "pin_edges", "quantise", "random_number", "random_tag", "replace",
    "ripple_capture", "sampled_pin", "telegram_bits",
    "half_duplex_answer", "half_duplex_bits", "half_duplex_capture", "load_fsk_states", "load_samples", "manchester_states", "read_only_word",
]

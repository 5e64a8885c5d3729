"""Captures made to draw out a number that nobody sent; each comes with the numbers that were sent, whole, at least once.

Kinds, drawn in turn by `draw`: two and three tags aligned within eight field cycles in a steady or pulsed field, 0 to 6 dB
apart, at equal and at different angles, behind equal and different tanks; numbers that differ by a word of weight 4, the
lightest of the CRC's code; one tag whose telegram is damaged the same way every time (bits flipped, slipped, two telegrams
spliced); tags that follow one another; half-duplex answers beside a tag.

Whoever damages a telegram sends no number: near the limit of noise nobody can tell, so those are drawn strong.
"""

from dataclasses import dataclass, replace

import numpy as np

from fdxb import (
    FIELD_HZ, HALF_BIT_CYCLES, TELEGRAM_CYCLES, Bench, Number, Pulses, Tag, half_bit_states, half_duplex_answer,
    random_number, ripple_capture, sigma_for, telegram_bits,
)

RATE_HZ = 500_000.0
CHECKED = 80  # code and CRC bits
DAMAGED_FOLDED_DB = (14.0, 32.0)  # noise explains damage to a telegram only below some 10 dB


@dataclass
class Adverse:
    """Samples at RATE_HZ, what was sent, and what was drawn."""

    kind: str
    samples: np.ndarray
    sent: set
    about: str


@dataclass(frozen=True)
class Damaged(Tag):
    """A tag that sends these bits instead of its number's."""

    bits: tuple = ()

    def half_bit(self, index):
        states, parity = half_bit_states(np.array(self.bits))
        telegram, place = np.divmod(index, states.size)
        return self.sign * states[place] * np.where(telegram % 2 == 0, 1.0, float(parity))


def sent_order(number):
    """Code and CRC bits in the order sent, least significant first."""
    return [(number.code >> k) & 1 for k in range(64)] + [(number.crc >> k) & 1 for k in range(16)]


def number_of(code, trailer=0):
    part = lambda weight, width: (code >> weight) & ((1 << width) - 1)
    return Number(
        country=part(38, 10), national=part(0, 38), animal=part(63, 1), retag=part(60, 3), user=part(55, 5),
        reserved=part(49, 6), data_block=part(48, 1), trailer=trailer,
    )


def light_words():
    """All words of weight 4 of the CRC's code of length 80 (weight 2 does not occur, odd weights neither)."""
    zero = Number(country=0, national=0, animal=0)

    def syndrome(place):
        if place >= 64:
            return 1 << (place - 64)
        return number_of(1 << place).crc ^ zero.crc

    syndromes = [syndrome(place) for place in range(CHECKED)]
    pairs = {}
    for a in range(CHECKED):
        for b in range(a + 1, CHECKED):
            pairs.setdefault(syndromes[a] ^ syndromes[b], []).append((a, b))
    assert 0 not in pairs
    words = {tuple(sorted(p + q)) for same in pairs.values() for p in same for q in same if not set(p) & set(q)}
    return sorted(words)


LIGHT = light_words()


def changed(number, places):
    """The number whose code (and with it CRC) differs in these places; the places are a word of the CRC's code."""
    code = number.code
    for place in places:
        if place < 64:
            code ^= 1 << place
    other = number_of(code, number.trailer)
    assert other.code == code
    return other


def payload_place(place):
    """Index in the telegram of checked bit `place`: header, then a control bit after every eighth."""
    return 11 + place + place // 8


def is_valid(bits):
    """Whether the 128 bits, from any start and with either bit value kept, hold a number that passes header, control bits and CRC."""
    bits = np.asarray(bits)
    for start in range(bits.size):
        turned = np.roll(bits, -start)
        if turned[:10].any() or not turned[10] or not turned[[19 + 9 * k for k in range(13)]].all():
            continue
        body = [int(turned[payload_place(place)]) for place in range(CHECKED)]
        if number_of(sum(bit << k for k, bit in enumerate(body[:64]))).crc == sum(bit << k for k, bit in enumerate(body[64:])):
            return True
    return False


def some_number(rng):
    """Any number, or one as animals carry them."""
    if rng.random() < 0.4:
        return random_number(rng)
    return Number(country=int(rng.choice([999, 276, 900])), national=int(rng.integers(1, 2**38)))


def others_near(number, rng, count):
    """Numbers to send beside one: unrelated, a neighbour in a series, or a light word away."""
    what = rng.choice(["any", "series", "light"], p=[0.5, 0.2, 0.3])
    numbers = []
    while len(numbers) < count:
        if what == "any":
            other = some_number(rng)
        elif what == "series":
            other = replace(number, national=int(number.national ^ int(rng.integers(1, 64))))
        else:
            other = changed(number, LIGHT[int(rng.integers(len(LIGHT)))])
        if other.code not in {number.code, *(n.code for n in numbers)}:
            numbers.append(other)
    return what, numbers


def bench_of(rng, pulses=None):
    seconds = float(rng.choice([0.08, 0.15, 0.3, 0.6], p=[0.25, 0.35, 0.3, 0.1]))
    return Bench(
        rate_hz=RATE_HZ, seconds=seconds if pulses is None else max(seconds, 0.15), pulses=pulses,
        ebn0_db=float(rng.uniform(4, 28)), phase_deg=float(rng.uniform(0, 360)), field_hz=FIELD_HZ + float(rng.uniform(-300, 300)),
        bits=int(rng.choice([8, 12])) if rng.random() < 0.15 else None,
    )


def tanks(rng, count):
    """Smoothing of each tag's ripple: none, the same, or one each."""
    what = rng.choice(["ideal", "same", "each"], p=[0.5, 0.25, 0.25])
    draw = lambda: dict(bandwidth_hz=float(10 ** rng.uniform(3.1, 4.3)), detune_hz=float(rng.normal(0, 1500)))
    if what == "ideal":
        return [{}] * count
    if what == "same":
        return [draw()] * count
    return [draw() for _ in range(count)]


def crowd(rng, count, pulsed):
    """Two or three tags that begin their telegrams within eight cycles of each other."""
    number = some_number(rng)
    what, others = others_near(number, rng, count - 1)
    angle = float(rng.uniform(-90, 90))
    same_angle = rng.random() < 0.5
    start = float(rng.uniform(0, TELEGRAM_CYCLES))
    sign = int(rng.choice((-1, 1)))
    tags = []
    for place, (one, tank) in enumerate(zip([number, *others], tanks(rng, count))):
        level_db = 0.0 if place == 0 else float(-rng.choice([0, 0, 0.5, 1, 2, 3, 6, rng.uniform(0, 6)]))
        late = 0.0 if place == 0 else float(rng.choice([0, 0, 0.5, 1, 2, 4, 8, rng.uniform(0, 8)]))
        tags.append(Tag(
            number=one, depth=0.01 * 10 ** (level_db / 20), angle_deg=angle if same_angle else float(rng.uniform(-90, 90)),
            start_cycles=start - late, sign=sign if rng.random() < 0.7 else -sign, **tank,
        ))
    about = f"{what} numbers, {tags}"
    if not pulsed:
        bench = bench_of(rng)
        return ripple_capture(bench, tags, rng).samples, tags, f"{about} {bench}"
    pulses = Pulses(
        on_s=float(rng.choice([0.05, 0.1])), off_s=float(rng.choice([0.003, 0.01, 0.02])), tau_s=float(rng.uniform(0.0001, 0.0003)),
        tag_delay_s=float(rng.uniform(0.0005, 0.004)), lead_s=float(rng.uniform(0, 0.05)),
    )
    bench = bench_of(rng, pulses)
    return pulsed_capture(bench, tags, start, rng), tags, f"{about} {bench}"


def pulsed_capture(bench, tags, start, rng):
    """Like `ripple_capture` with pulses, but each tag begins as much later than the first as its `start_cycles` says."""
    times = np.arange(int(round(bench.rate_hz * bench.seconds))) / bench.rate_hz
    envelope, since = bench.pulses.at(times)
    relative = np.zeros(times.size, dtype=complex)
    for tag in tags:
        cycles = bench.field_hz * (since - bench.pulses.tag_delay_s) - (start - tag.start_cycles)
        states = np.where(cycles < 0, -tag.sign, tag.states(np.maximum(cycles, 0)))
        relative += tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * states
    field = envelope * np.exp(1j * (2 * np.pi * bench.field_hz * times + np.radians(bench.phase_deg)))
    return (field * (1 + relative)).real + sigma_for(bench, tags[0].depth) * rng.standard_normal(times.size)


def many(count, pulsed):
    def make(rng):
        samples, tags, about = crowd(rng, count, pulsed)
        return samples, {tag.number.id for tag in tags}, about

    return make


def strong(rng, bench):
    folded_db = float(rng.uniform(*DAMAGED_FOLDED_DB))
    return replace(bench, ebn0_db=folded_db - 10 * np.log10(bench.seconds * FIELD_HZ / TELEGRAM_CYCLES))


def one_damaged(rng, bits, about):
    bench = strong(rng, bench_of(rng))
    tag = Damaged(
        number=Number(), bits=tuple(int(bit) for bit in bits), depth=0.01, angle_deg=float(rng.uniform(-90, 90)),
        start_cycles=float(rng.uniform(0, TELEGRAM_CYCLES)), **tanks(rng, 1)[0],
    )
    return ripple_capture(bench, tag, rng).samples, set(), f"{about} {tag} {bench}"


def until_invalid(make):
    def again(rng):
        while True:
            bits, about = make(rng)
            if not is_valid(bits):
                return one_damaged(rng, bits, about)

    return again


@until_invalid
def flips(rng):
    """One to six bits of code and CRC flipped, or a light word but for one bit."""
    number = some_number(rng)
    bits = telegram_bits(number)
    if rng.random() < 0.5:
        places = rng.choice(CHECKED, int(rng.integers(1, 7)), replace=False)
    else:
        light = LIGHT[int(rng.integers(len(LIGHT)))]
        places = rng.choice(light, int(rng.integers(1, 4)), replace=False)
    for place in places:
        bits[payload_place(int(place))] ^= 1
    return bits, f"{number} flipped {sorted(int(p) for p in places)}"


@until_invalid
def slips(rng):
    """A bit lost or sent twice, the telegram closed or cut to 128 bits."""
    number = some_number(rng)
    bits = list(telegram_bits(number))
    place = int(rng.integers(11, 91))  # in code or CRC: what follows carries no number's bits
    if rng.random() < 0.5:
        bits = bits[:place] + [bits[place]] + bits[place:-1]
    else:
        bits = bits[:place] + bits[place + 1 :] + [1]
    return np.array(bits), f"{number} slipped at {place}"


@until_invalid
def splices(rng):
    """The begin of one telegram and the rest of another."""
    number = some_number(rng)
    _, (other,) = others_near(number, rng, 1)
    place = int(rng.integers(20, 95))
    return np.concatenate((telegram_bits(number)[:place], telegram_bits(other)[place:])), f"{number} until {place}, then {other}"


def following(rng):
    """One tag leaves, another comes: each alone in its part of the record, or both for a while."""
    number = some_number(rng)
    what, (other,) = others_near(number, rng, 1)
    bench = replace(bench_of(rng), seconds=float(rng.choice([0.15, 0.3, 0.5])), bits=None)
    start = float(rng.uniform(0, TELEGRAM_CYCLES))
    times = np.arange(int(round(bench.rate_hz * bench.seconds))) / bench.rate_hz
    ends, begins = sorted(rng.uniform(0.3, 0.7, 2))[:: int(rng.choice((-1, 1)))]
    angle = float(rng.uniform(-90, 90))
    relative = np.zeros(times.size, dtype=complex)
    tags = []
    for one, there in ((number, times < ends * bench.seconds), (other, times >= begins * bench.seconds)):
        tag = Tag(
            number=one, depth=0.01, angle_deg=angle if rng.random() < 0.5 else float(rng.uniform(-90, 90)),
            start_cycles=start + float(rng.uniform(-4, 4)),
        )
        tags.append(tag)
        relative += tag.depth * np.exp(1j * np.radians(tag.angle_deg)) * np.where(there, tag.states(bench.field_hz * times + tag.start_cycles), 0)
    field = np.exp(1j * (2 * np.pi * bench.field_hz * times + np.radians(bench.phase_deg)))
    samples = (field * (1 + relative)).real + sigma_for(bench, 0.01) * rng.standard_normal(times.size)
    return samples, {number.id, other.id}, f"{what} numbers {tags}, until {ends}, from {begins}, {bench}"


def half_duplex_beside(rng):
    """A pulsed field with one or two half-duplex answers in every pause, with a tag's ripple or without."""
    bench = replace(bench_of(rng, Pulses(on_s=0.05, off_s=0.02, tau_s=1e-4, lead_s=float(rng.uniform(0, 0.05)))), bits=None, field_hz=FIELD_HZ)
    tags = [Tag(number=some_number(rng), depth=0.01, angle_deg=float(rng.uniform(-90, 90)))] if rng.random() < 0.5 else []
    times = np.arange(int(round(bench.rate_hz * bench.seconds))) / bench.rate_hz
    samples = ripple_capture(replace(bench, ebn0_db=None), tags, rng).samples
    first = some_number(rng)
    answers = [first] + (others_near(first, rng, 1)[1] if rng.random() < 0.6 else [])
    turn, since = np.divmod(times + bench.pulses.lead_s, 0.07)
    for number in answers:
        level = 0.01 * 10 ** (-rng.uniform(0, 6) / 20)
        delay = float(rng.uniform(0.0012, 0.002))
        tone = rng.normal(0, 150)
        for pause in range(int(turn.max()) + 1):
            here = np.flatnonzero((turn == pause) & (since >= 0.05))
            answer = half_duplex_answer(number, since[here] - 0.05 - delay, 134_200.0 + tone, 124_200.0 + tone)
            samples[here] += level * (answer * np.exp(2j * np.pi * rng.random())).real
    samples = samples + sigma_for(bench, 0.01) * rng.standard_normal(times.size)
    sent = {tag.number.id for tag in tags} | {number.id for number in answers}
    return samples, sent, f"{tags} half duplex {answers} {bench}"


KINDS = {
    "two aligned": (many(2, False), 6),
    "two pulsed": (many(2, True), 4),
    "three aligned": (many(3, False), 3),
    "three pulsed": (many(3, True), 2),
    "flips": (flips, 2),
    "slips": (slips, 1),
    "splices": (splices, 2),
    "following": (following, 2),
    "half duplex beside": (half_duplex_beside, 1),
}
TURN = [kind for kind, (_, weight) in KINDS.items() for _ in range(weight)]


def draw(seed, trial):
    """Capture `trial` of a seed: the same on every machine."""
    rng = np.random.default_rng([seed, trial])
    kind = TURN[trial % len(TURN)]
    samples, sent, about = KINDS[kind][0](rng)
    return Adverse(kind, samples, sent, about)


__all__ = ["Adverse", "KINDS", "LIGHT", "RATE_HZ", "draw"]

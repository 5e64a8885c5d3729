"""Long records in pieces: a field that comes and goes, tags that pass one after the other, white noise. Built on fdxb.py.

Times in seconds, frequencies in hertz. A record of any length is made in blocks, each the same whatever the size of the others.
"""

from dataclasses import dataclass

import numpy as np
from fdxb import CYCLES_PER_BIT, FIELD_HZ, Tag, half_bit_states, telegram_bits

BLOCK_S = 0.1
FULL = 1.25  # volts that are full scale in 16 bits, for noise well below the field


@dataclass(frozen=True)
class Pass:
    """A tag that is there from `from_s` to `to_s`. `rise_s`: its ripple grows and falls like a cosine's half wave over so long."""

    tag: Tag
    from_s: float
    to_s: float
    rise_s: float = 0.0

    def there(self, times):
        """0..1."""
        inside = (times >= self.from_s) & (times < self.to_s)
        if self.rise_s == 0:
            return inside.astype(float)
        edge = np.minimum(times - self.from_s, self.to_s - times) / self.rise_s
        return np.where(inside, 0.5 - 0.5 * np.cos(np.pi * np.clip(edge, 0, 1)), 0.0)


@dataclass(frozen=True)
class Record:
    """A field of 1 V, on in `on` (stretches of seconds), with tags passing; `ebn0_db` is that of a ripple of `noise_for_depth`."""

    rate_hz: float
    seconds: float
    on: tuple = ((0.0, np.inf),)
    passes: tuple = ()
    ebn0_db: float = 12.0
    noise_for_depth: float = 0.01
    field_hz: float = FIELD_HZ
    seed: int = 1
    full: float = FULL

    @property
    def sigma(self):
        """Real samples of a carrier: Eb = r^2 T_b / 2, N0 = 2 sigma^2 / rate."""
        energy = self.noise_for_depth**2 * CYCLES_PER_BIT / self.field_hz / 2
        return np.sqrt(energy / 10 ** (self.ebn0_db / 10) * self.rate_hz / 2)

    def blocks(self):
        """Samples in volts, block by block."""
        count = int(round(self.rate_hz * self.seconds))
        size = int(round(self.rate_hz * BLOCK_S))
        rng = np.random.default_rng(self.seed)
        known = {}
        for start in range(0, count, size):
            index = np.arange(start, min(start + size, count))
            times = index / self.rate_hz
            cycles = self.field_hz * times
            relative = np.ones(times.size, dtype=complex)
            for place, passing in enumerate(self.passes):
                if passing.to_s < times[0] or passing.from_s > times[-1]:
                    continue
                if place not in known:
                    known[place] = half_bit_states(telegram_bits(passing.tag.number))
                states, parity = known[place]
                half = np.floor((cycles + passing.tag.start_cycles) / 16).astype(np.int64)
                telegram, within = np.divmod(half, states.size)
                load = states[within] * np.where(telegram % 2 == 0, 1.0, float(parity))
                ripple = passing.tag.depth * np.exp(1j * np.radians(passing.tag.angle_deg))
                relative += ripple * load * passing.there(times)
            field = np.zeros(times.size)
            for begin, end in self.on:
                # Ring-up and ring-down of the antenna.
                up = 1 - np.exp(-np.maximum(times - begin, 0) / 2e-4)
                down = np.exp(-np.maximum(times - end, 0) / 2e-4) if np.isfinite(end) else 1.0
                field += np.where(times >= begin, up * down, 0.0) if begin > 0 else np.ones(times.size) * down
            samples = field * (relative * np.exp(2j * np.pi * np.mod(cycles, 1.0))).real
            yield samples + self.sigma * rng.standard_normal(times.size)

    def bytes(self):
        """The blocks as little-endian 16-bit integers."""
        for block in self.blocks():
            yield np.clip(np.round(block / self.full * 32768), -32768, 32767).astype("<i2").tobytes()

    def write(self, path):
        with open(path, "wb") as out:
            for block in self.bytes():
                out.write(block)

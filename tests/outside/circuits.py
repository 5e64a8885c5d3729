"""A reader's antenna and a tag as two coupled tuned circuits with a switched load, solved mode by mode in numpy; no code of the crate.

State: the currents in antenna and tag coil, the voltages of their capacitors. While nothing switches the state is the driver's steady
answer and a sum of decaying modes, evaluated exactly at any time. Signals are Re{A(t) exp(+j w t)}, amplitudes are peak values.
The tag divides the voltage of its own coil: it moves its switch a fixed part of a cycle after every sixteenth rising zero crossing.
"""

from dataclasses import dataclass, replace

import numpy as np

from fdxb import HALF_BIT_CYCLES, half_bit_states, telegram_bits


@dataclass(frozen=True)
class Circuits:
    """Reader and tag. Resonances are 1/(2 pi sqrt(LC)); the antenna's Q is wL/R at the field, all resistance of its loop counted."""

    field_hz: float = 134_200.0
    drive_v: float = 8.0
    antenna_h: float = 600e-6
    antenna_hz: float = 134_200.0
    antenna_q: float = 20.0
    source_share: float = 0.5  # of the loop's resistance that is the driver's; the rest is the coil's
    coupling: float = 0.01
    tag_h: float = 5e-3
    tag_hz: float = 134_200.0
    coil_q: float = 30.0  # of the tag's coil alone, wL/R at the field
    chip_ohm: float = 100e3
    load_ohm: float = 2_000.0
    delay_cycles: float = 0.3  # from the crossing to the switch
    pick_up_h: tuple = None  # mutual inductances of a separate coil with antenna and tag, whose open voltage is heard instead of the antenna's

    @property
    def antenna_ohm(self):
        return 2 * np.pi * self.field_hz * self.antenna_h / self.antenna_q

    @property
    def tag_f(self):
        return 1 / ((2 * np.pi * self.tag_hz) ** 2 * self.tag_h)

    @property
    def antenna_f(self):
        return 1 / ((2 * np.pi * self.antenna_hz) ** 2 * self.antenna_h)

    @property
    def tag_ohm(self):
        return 2 * np.pi * self.field_hz * self.tag_h / self.coil_q

    @property
    def tag_q(self):
        """At its own resonance, with what the chip draws, switch open."""
        reactance = np.sqrt(self.tag_h / self.tag_f)
        return 1 / (self.tag_ohm / reactance + reactance / self.chip_ohm)

    def with_tag_q(self, q):
        """The same with coil and chip losing more or less by one factor."""
        factor = self.tag_q / q
        return replace(self, coil_q=self.coil_q / factor, chip_ohm=self.chip_ohm / factor)

    def matrix(self, closed):
        """x' = A x + b u with x = (i1, i2, v1, v2)."""
        mutual = self.coupling * np.sqrt(self.antenna_h * self.tag_h)
        inverse = np.linalg.inv([[self.antenna_h, mutual], [mutual, self.tag_h]])
        push = np.array([[-self.antenna_ohm, 0, -1, 0], [0, -self.tag_ohm, 0, -1]])
        a = np.zeros((4, 4))
        a[:2] = inverse @ push
        a[2, 0] = 1 / self.antenna_f
        a[3, 1] = 1 / self.tag_f
        a[3, 3] = -(1 / self.chip_ohm + (1 / self.load_ohm if closed else 0)) / self.tag_f
        b = np.zeros(4)
        b[:2] = inverse[:, 0]
        return a, b


class _Modes:
    """One switch position: rates, vectors, and the steady answer to the driver."""

    def __init__(self, parts, closed):
        a, b = parts.matrix(closed)
        # Scaled to square roots of energies, where every entry is of the order of w.
        scale = np.sqrt([1 / parts.antenna_h, 1 / parts.tag_h, 1 / parts.antenna_f, 1 / parts.tag_f])
        self.rates, vectors = np.linalg.eig(a / scale[:, None] * scale[None, :])
        self.vectors = scale[:, None] * vectors
        self.inverse = np.linalg.inv(vectors) / scale[None, :]
        omega = 2 * np.pi * parts.field_hz
        self.steady = np.linalg.solve(1j * omega * np.eye(4) - a, b * parts.drive_v)
        self.omega = omega


class Track:
    """What happened, as pieces: from when on, in which position, driven or not, the amounts of the modes."""

    def __init__(self, parts):
        self.parts = parts
        self.modes = [_Modes(parts, False), _Modes(parts, True)]
        self.starts, self.pieces = [], []
        self.state = np.zeros(4)

    def begin(self, at, closed, on):
        if self.pieces:
            self.state = self.at(at)
        modes = self.modes[closed]
        steady = (modes.steady * np.exp(1j * modes.omega * at)).real if on else 0
        self.starts.append(at)
        self.pieces.append((modes, on, modes.inverse @ (self.state - steady)))

    def at(self, time):
        """State in the last piece."""
        modes, on, amounts = self.pieces[-1]
        state = (modes.vectors @ (amounts * np.exp(modes.rates * (time - self.starts[-1])))).real
        return state + ((modes.steady * np.exp(1j * modes.omega * time)).real if on else 0)

    def coil_phase(self, time):
        """Phase of the tag's voltage in the last piece, from the modes that turn forwards."""
        modes, on, amounts = self.pieces[-1]
        forward = modes.rates.imag > 0
        grown = amounts[forward] * np.exp(modes.rates[forward] * (time - self.starts[-1]))
        value = 2 * modes.vectors[3, forward] @ grown
        if on:
            value = value + modes.steady[3] * np.exp(1j * modes.omega * time)
        return np.angle(value)

    def antenna_v(self, times):
        """Analytic signal of the voltage across the antenna or in the pick-up coil, at rising times; its real part is the voltage."""
        parts = self.parts
        probe, feed = np.array([-parts.source_share * parts.antenna_ohm, 0, -1, 0]), 1.0
        if parts.pick_up_h:
            # The slopes of the currents; the switch is not in them.
            a, b = parts.matrix(False)
            weight = np.array([*parts.pick_up_h, 0, 0])
            probe, feed = weight @ a, weight @ b
        out = np.zeros(times.size, dtype=complex)
        edges = np.searchsorted(times, self.starts + [np.inf])
        for start, (modes, on, amounts), low, high in zip(self.starts, self.pieces, edges, edges[1:]):
            if low == high:
                continue
            here = times[low:high]
            weights = (probe @ modes.vectors) * amounts
            for rate, weight in zip(modes.rates, weights):
                # Of a pair the one that turns forwards, twice; what does not turn stays as it is.
                share = 2 if rate.imag > 0 else (0 if rate.imag < 0 else 1)
                if share:
                    out[low:high] += share * weight * np.exp(rate * (here - start))
            if on:
                out[low:high] += (probe @ modes.steady + feed * parts.drive_v) * np.exp(1j * modes.omega * here)
        return out


def load_states(number):
    """Load states (True: closed) of a telegram over and over; two telegrams where the first leaves it inverted."""
    states, parity = half_bit_states(telegram_bits(number))
    return list(states > 0) if parity > 0 else list(states > 0) + list(states < 0)


def send(track, states, first, start, until):
    """Switches as the tag's clock says, from the first rising crossing after `start`, the first half bit being states[first]."""
    parts = track.parts
    cycle = 1 / parts.field_hz
    # The analytic phase of a rising crossing is -pi/2.
    crossing = start - (np.mod(track.coil_phase(start) + np.pi / 2, 2 * np.pi) / (2 * np.pi) - 1) * cycle
    index = first
    while True:
        switch = crossing + parts.delay_cycles * cycle
        if switch >= until:
            return
        track.begin(switch, bool(states[index % len(states)]), True)
        index += 1
        expected = crossing + HALF_BIT_CYCLES * cycle
        for _ in range(4):
            off = np.angle(np.exp(1j * (track.coil_phase(expected) + np.pi / 2)))
            expected -= off / (2 * np.pi) * cycle
        crossing = expected


def steady_capture(parts, number, seconds, rate_hz, first):
    """Analytic signal of a field that has been on for long, sampled at k / rate."""
    track = Track(parts)
    lead = 6e-3
    track.begin(0.0, False, True)
    send(track, load_states(number), first, 2e-3, lead + seconds)
    return track.antenna_v(lead + np.arange(int(seconds * rate_hz)) / rate_hz)


def pulsed_capture(parts, number, seconds, rate_hz, on_s, off_s, start_s, lead_s):
    """Analytic signal of a field on and off, which came on `lead_s` before the first sample; each time the tag begins `start_s` later."""
    track = Track(parts)
    states = load_states(number)
    at = 0.0
    while at < lead_s + seconds:
        track.begin(at, False, True)
        send(track, states, 0, at + start_s, at + on_s)
        track.begin(at + on_s, False, False)
        at += on_s + off_s
    return track.antenna_v(lead_s + np.arange(int(seconds * rate_hz)) / rate_hz)


def brute(parts, number, seconds, steps_a_cycle=400):
    """The same bench as `steady_capture` with first=0, integrated step by step (Runge-Kutta 4): the obvious way, for a test of the other."""
    track = Track(parts)
    track.begin(0.0, False, True)
    send(track, load_states(number), 0, 2e-3, seconds)
    switchings = list(zip(track.starts, [piece[0] is track.modes[1] for piece in track.pieces]))
    step = 1 / parts.field_hz / steps_a_cycle
    matrices = [parts.matrix(False), parts.matrix(True)]
    drive = lambda t: parts.drive_v * np.cos(2 * np.pi * parts.field_hz * t)
    x, times, volts = np.zeros(4), [], []
    for (start, closed), (end, _) in zip(switchings, switchings[1:] + [(seconds, None)]):
        a, b = matrices[closed]
        slope = lambda x, t: a @ x + b * drive(t)
        count = max(1, int(np.ceil((end - start) / step)))
        h = (end - start) / count
        for k in range(count):
            t = start + k * h
            times.append(t)
            volts.append(drive(t) - parts.source_share * parts.antenna_ohm * x[0] - x[2])
            k1 = slope(x, t)
            k2 = slope(x + h / 2 * k1, t + h / 2)
            k3 = slope(x + h / 2 * k2, t + h / 2)
            k4 = slope(x + h * k3, t + h)
            x = x + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    times = np.array(times)
    return track, times, np.array(volts)

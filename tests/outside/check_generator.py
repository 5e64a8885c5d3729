"""The capture generator against a plain reader and against least squares: number, depth, angle and Eb/N0 are what was asked for."""

import sys

import numpy as np

from fdxb import CYCLES_PER_BIT, Bench, Pulses, pin_edges, random_tag, ripple_capture, sampled_pin
from plain_reader import read, read_baseband
from report import Checks


def measured(capture):
    """Depth, angle and Eb/N0 by least squares with the true states known, and the standard errors of depth and Eb/N0 (dB)."""
    bench, tag = capture.bench, capture.tags[0]
    times = np.arange(capture.samples.size) / (bench.rate_hz * (1 + bench.clock_error))
    states = tag.states(bench.field_hz * times + tag.start_cycles)
    rms = np.sqrt(np.mean(np.abs(states) ** 2))
    one = np.ones(times.size)
    if bench.kind == "envelope":
        basis = np.stack((one, states), axis=1)
    else:
        shift = bench.centre_hz if bench.kind == "iq" else 0.0
        turn = np.exp(2j * np.pi * (bench.field_hz - shift) * times)
        if bench.kind == "iq":
            basis = np.stack((turn, states * turn), axis=1)
        else:
            rippled = states * turn
            basis = np.stack((turn.real, -turn.imag, rippled.real, -rippled.imag, one), axis=1)
    fitted, *_ = np.linalg.lstsq(basis, capture.samples, rcond=None)
    rest = capture.samples - basis @ fitted
    if bench.kind == "real":
        field, ripple = fitted[0] + 1j * fitted[1], fitted[2] + 1j * fitted[3]
    else:
        field, ripple = fitted[0], fitted[1]
    variance = np.mean(np.abs(rest) ** 2) / (2 if bench.kind == "iq" else 1)
    true_rate = bench.rate_hz * (1 + bench.clock_error)
    energy = (np.abs(ripple) * rms) ** 2 * CYCLES_PER_BIT / bench.field_hz / (2 if bench.kind == "real" else 1)
    ebn0 = energy * true_rate / (2 * variance)
    count = capture.samples.size
    relative = np.sqrt((2 if bench.kind == "real" else 1) * variance / count) / np.abs(ripple) / rms
    depth_error = relative * np.abs(ripple / field) * rms
    ebn0_error = 10 / np.log(10) * np.hypot(2 * relative, np.sqrt(2 / count))
    angle = np.degrees(np.angle(ripple / field))
    return np.abs(ripple / field) * rms, angle, 10 * np.log10(ebn0), depth_error, ebn0_error, np.degrees(relative)


def check_figures(checks, name, bench, tag, rng):
    capture = ripple_capture(bench, tag, rng)
    depth, angle, ebn0, depth_sd, ebn0_sd, angle_sd = measured(capture)
    times = np.arange(capture.samples.size) / bench.rate_hz
    states = tag.states(bench.field_hz * times + tag.start_cycles)
    expected = tag.depth * np.sqrt(np.mean(np.abs(states) ** 2))
    # Five standard errors: one false alarm in 1.7 million.
    checks.near(depth, expected, 5 * depth_sd, f"{name}: depth")
    checks.near(ebn0, bench.ebn0_db, 5 * ebn0_sd, f"{name}: Eb/N0 in dB")
    if bench.kind != "envelope":
        miss = (angle - tag.angle_deg + 90) % 180 - 90
        checks.near(miss, 0.0, 5 * angle_sd, f"{name}: angle")


def main():
    checks = Checks()
    rng = np.random.default_rng(20)
    for trial in range(12):
        field_hz = 134_200 + rng.uniform(-1700, 1700)
        phase = rng.uniform(0, 360)
        direct = Bench(field_hz=field_hz, phase_deg=phase, ebn0_db=18, amplitude=rng.uniform(0.1, 5), dc=rng.uniform(-1, 1))
        tag = random_tag(rng)
        check_figures(checks, f"direct {trial}", direct, tag, rng)
        codes, angle = read(ripple_capture(direct, tag, rng).samples, direct.rate_hz)
        checks.that(codes and set(codes) == {tag.number.code}, f"direct {trial}: plain reader {codes} for {tag}")
        checks.near((angle - tag.angle_deg + 90) % 180 - 90, 0.0, 3.0, f"direct {trial}: principal axis")

        for rate in (100_000, 192_000):
            check_figures(checks, f"{rate} {trial}", Bench(rate_hz=rate, field_hz=field_hz, phase_deg=phase, seconds=0.2), random_tag(rng), rng)

        pole = random_tag(rng, bandwidth_hz=3400.0, detune_hz=rng.uniform(-2000, 2000))
        check_figures(checks, f"smoothed {trial}", Bench(phase_deg=phase), pole, rng)

        envelope = Bench(kind="envelope", rate_hz=48_000, seconds=0.5, field_hz=field_hz)
        tag = random_tag(rng, depth=0.05, angle_deg=float(rng.choice((0.0, 180.0))))
        check_figures(checks, f"envelope {trial}", envelope, tag, rng)
        codes = read_baseband(ripple_capture(envelope, tag, rng).samples, envelope.rate_hz, field_hz)
        checks.that(codes and set(codes) == {tag.number.code}, f"envelope {trial}: plain reader {codes}")

        centre = float(rng.choice((130_000.0, 134_200.0)))
        iq = Bench(kind="iq", rate_hz=250_000, centre_hz=centre, field_hz=field_hz, phase_deg=phase, amplitude=0.3)
        tag = random_tag(rng)
        check_figures(checks, f"I/Q {trial}", iq, tag, rng)
        codes, _ = read(ripple_capture(iq, tag, rng).samples, iq.rate_hz, field_hz)
        checks.that(codes and set(codes) == {tag.number.code}, f"I/Q {trial}: plain reader {codes}")

        tag = random_tag(rng)
        start, edges = pin_edges(tag, 0.1, field_hz, 3e-6, rng)
        pin = sampled_pin(start, edges, 200_000, 0.1)
        codes = read_baseband(pin, 200_000, field_hz)
        checks.that(codes and set(codes) == {tag.number.code}, f"pin {trial}: plain reader {codes}")

        # 8 bits at 2 MS/s: added noise and quantiser together give the Eb/N0 asked for.
        coarse = Bench(rate_hz=2e6, bits=8, range=1.1, count_quantiser=True, field_hz=field_hz, phase_deg=phase)
        capture = ripple_capture(coarse, random_tag(rng, depth=0.003), rng)
        _, _, ebn0, _, ebn0_sd, _ = measured(capture)
        # step^2/12 holds for a tone over a hundred steps to about a percent (0.1 dB).
        checks.near(ebn0, 18.0, 5 * ebn0_sd + 0.1, f"8 bits {trial}: Eb/N0 in dB")

    check_smoothing(checks, rng)
    check_pulses(checks, rng)
    return checks.end()


def check_smoothing(checks, rng):
    """The closed form of the smoothed ripple against the differential equation r' = p (s - r), stepped finely."""
    tag = random_tag(rng, bandwidth_hz=1100.0, detune_hz=700.0, start_cycles=0.0)
    pole = 2 * np.pi * (1100.0 + 700.0j) / 134_200.0
    step = 1 / 512
    cycles = (np.arange(int(3000 / step)) + 0.5) * step
    load = tag.half_bit(np.floor(cycles / 16).astype(int))
    value, track = 0j, np.empty(cycles.size, dtype=complex)
    factor = pole * step / (1 + pole * step / 2)  # trapezium rule
    for k in range(cycles.size):
        value += factor * (load[k] - value)
        track[k] = value
    late = slice(cycles.size // 2, None, 97)
    miss = np.abs(tag.smoothed(cycles[late] + step / 2) - track[late]).max()
    checks.that(miss < 1e-5, f"smoothed ripple against its differential equation: {miss}")


def check_pulses(checks, rng):
    """Each on-time of a switched field holds a fresh telegram."""
    pulses = Pulses(on_s=0.05, off_s=0.01, tag_delay_s=0.002)
    bench = Bench(seconds=0.3, pulses=pulses)
    tag = random_tag(rng, angle_deg=0.0)
    samples = ripple_capture(bench, tag, rng).samples
    for k in range(5):
        first = int((k * 0.06 + 0.0015) * bench.rate_hz)  # the field is up, the telegram starts half a millisecond later
        codes, _ = read(samples[first : first + int(0.048 * bench.rate_hz)], bench.rate_hz)
        checks.that(codes == [tag.number.code], f"on-time {k}: {codes}")


if __name__ == "__main__":
    sys.exit(main())

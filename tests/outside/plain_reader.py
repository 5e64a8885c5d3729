"""A small reader to test the capture generator with: one tone off, mixed down, correlated, sliced hard, CRC. For strong signals."""

import numpy as np
from scipy.optimize import minimize_scalar

from fdxb import CYCLES_PER_BIT, crc_kermit

HEADER = np.array([0] * 10 + [1])


def field_frequency(samples, rate_hz, near_hz=None):
    """The strongest line (of the real samples' own band, or of I/Q), refined by the largest correlation; hertz, may be folded."""
    count = samples.size
    window = np.hanning(count)
    centred = (samples - samples.mean()) * window
    if near_hz is None:
        spectrum = np.abs(np.fft.fft(centred))
        if not np.iscomplexobj(samples):
            spectrum = spectrum[: count // 2]
        peak = int(np.argmax(spectrum))
        near_hz = np.fft.fftfreq(count, 1 / rate_hz)[peak]
    index = np.arange(count)

    def loss(hertz):
        return -np.abs(np.dot(centred, np.exp(-2j * np.pi * hertz / rate_hz * index)))

    step = rate_hz / count
    found = minimize_scalar(loss, bounds=(near_hz - step, near_hz + step), method="bounded", options={"xatol": 1e-5 * step})
    return float(found.x)


def ripple_track(samples, rate_hz, line_hz):
    """Ripple relative to the field, projected on its principal axis; and that axis in degrees. Field and DC are removed first."""
    phase = 2 * np.pi * line_hz / rate_hz * np.arange(samples.size)
    turn = np.exp(-1j * phase)
    if np.iscomplexobj(samples):
        amplitude = np.mean(samples * turn)
        ripple = samples * turn / amplitude - 1
    else:
        basis = np.stack((np.cos(phase), np.sin(phase), np.ones_like(phase)), axis=1)
        fitted = np.linalg.lstsq(basis, samples, rcond=None)[0]
        amplitude = fitted[0] - 1j * fitted[1]
        ripple = 2 * (samples - basis @ fitted) * turn / amplitude
    # The principal axis wants the signal above the noise: average over 8 field cycles first.
    length = max(1, int(round(rate_hz / 134_200 * 8)))
    smooth = ripple[: ripple.size // length * length].reshape(-1, length).mean(axis=1)
    angle = 0.5 * np.angle(np.sum(smooth**2))
    return (ripple * np.exp(-1j * angle)).real, float(np.degrees(angle))


def bits_of(track, rate_hz, field_hz):
    """Hard bits. At each bit boundary the load changes; the sign of the change flips after a 1."""
    total = np.concatenate(([0.0], np.cumsum(track)))
    bit = CYCLES_PER_BIT / field_hz * rate_hz  # samples
    count = int(track.size / bit) - 2

    def changes(offset):
        edge = offset + bit * np.arange(1, count + 1)
        at = [np.interp(edge + part * bit, np.arange(total.size), total) for part in (-0.5, 0.0, 0.5)]
        return (at[2] - at[1]) - (at[1] - at[0])

    offsets = np.arange(0, 1, 1 / 64) * bit
    best = max(offsets, key=lambda offset: np.abs(changes(offset)).sum())
    signs = np.sign(changes(best))
    return (signs[1:] != signs[:-1]).astype(int)


def codes_in(bits):
    """Every 64-bit code whose header, control bits and CRC fit."""
    found = []
    for start in range(bits.size - 101 + 1):
        telegram = bits[start : start + 101]
        if not np.array_equal(telegram[:11], HEADER):
            continue
        groups = telegram[11:].reshape(10, 9)
        octets = np.packbits(groups[:, :8], axis=1, bitorder="little").ravel().tobytes()
        if groups[:, 8].all() and crc_kermit(octets) == 0:
            found.append(int.from_bytes(octets[:8], "little"))
    return found


def read(samples, rate_hz, field_near_hz=134_200.0):
    """Codes in a capture of real or I/Q samples whose field lies in the band, unfolded."""
    line = field_frequency(samples, rate_hz)
    field_hz = field_near_hz if np.iscomplexobj(samples) else line
    track, angle = ripple_track(samples, rate_hz, line)
    return codes_in(bits_of(track, rate_hz, field_hz)), angle


def read_baseband(samples, rate_hz, field_hz=134_200.0):
    """Codes in an envelope or in two-level data."""
    return codes_in(bits_of(samples - np.mean(samples), rate_hz, field_hz))

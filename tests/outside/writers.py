"""Captures as files: WAV, delimited text in the forms instruments write, NPY and raw integers."""

import struct

import numpy as np


def _columns(channels):
    return np.atleast_2d(channels).T if np.ndim(channels) == 1 else np.stack(channels, axis=1)


def wav(path, channels, rate_hz, bits=16, full=1.0):
    """PCM WAV, one or several channels in volts; `full` volts are the file's full scale. 8 bits are unsigned."""
    data = _columns(channels)
    half = 2 ** (bits - 1)
    codes = np.clip(np.round(data / full * half), -half, half - 1)
    payload = (codes + 128).astype("u1").tobytes() if bits == 8 else codes.astype("<i2").tobytes()
    width, count = bits // 8, data.shape[1]
    rate = int(round(rate_hz))
    head = struct.pack("<HHIIHH", 1, count, rate, rate * width * count, width * count, bits)
    pad = b"\0" if len(payload) % 2 else b""
    body = b"WAVE" + b"fmt " + struct.pack("<I", 16) + head + b"data" + struct.pack("<I", len(payload)) + payload + pad
    with open(path, "wb") as out:
        out.write(b"RIFF" + struct.pack("<I", len(body)) + body)


def npy(path, samples):
    """float32 for real samples, complex64 for I/Q."""
    np.save(path, samples.astype("<c8" if np.iscomplexobj(samples) else "<f4"))


def raw_i16(path, samples, full=1.0):
    """Headerless little-endian 16-bit integers; I and Q in turn for complex samples."""
    if np.iscomplexobj(samples):
        samples = np.stack((samples.real, samples.imag), axis=1).ravel()
    np.clip(np.round(samples / full * 32768), -32768, 32767).astype("<i2").tofile(path)


def _text(path, lines, end="\n", encoding="utf-8"):
    with open(path, "w", encoding=encoding, newline="") as out:
        out.write(end.join(lines) + end)


def _times(samples, rate_hz, first_s=0.0):
    return first_s + np.arange(len(samples)) / rate_hz


def text_plain(path, samples, rate_hz):
    """One line of titles, seconds and volts in full precision."""
    rows = (f"{t:.9f},{v:.7g}" for t, v in zip(_times(samples, rate_hz), samples))
    _text(path, ["time,volt", *rows])


def text_preamble(path, samples, rate_hz):
    """Lines of settings in front, the trigger in the middle of the record, CRLF line ends."""
    lines = [
        "Instrument,bench recorder",
        f"Points,{len(samples)}",
        f"Sample interval,{1 / rate_hz:.6e},s",
        "Vertical scale,0.5,V",
        "Probe,10",
        "",
        "TIME,CH1",
    ]
    first = -len(samples) / rate_hz / 2
    lines += [f"{t:.8e},{v:.5e}" for t, v in zip(_times(samples, rate_hz, first), samples)]
    _text(path, lines, "\r\n")


def text_units(path, samples, rate_hz):
    """Titles, then a line of units in brackets (milliseconds, millivolts), then an empty line."""
    rows = (f"{t * 1e3:.6f},{v * 1e3:.4f}" for t, v in zip(_times(samples, rate_hz), samples))
    _text(path, ["Time,Channel A", "(ms),(mV)", "", *rows])


def text_decimal_comma(path, samples, rate_hz):
    """Semicolons between the columns, commas as decimal marks, a byte-order mark in front."""
    rows = (f"{t:.8f};{v:.6f}".replace(".", ",") for t, v in zip(_times(samples, rate_hz), samples))
    _text(path, ["Zeit (s);Kanal 1 (V)", *rows], "\r\n", "utf-8-sig")


def text_short_time(path, samples, rate_hz):
    """A time column with so few digits that neighbours print alike; the rate follows from first and last only."""
    rows = (f"{t:.3e},{v:.5e}" for t, v in zip(_times(samples, rate_hz), samples))
    _text(path, ["s,V", *rows])


def text_tabs(path, samples, rate_hz):
    """Tabs, no titles at all."""
    _text(path, [f"{t:.8f}\t{v:.6e}" for t, v in zip(_times(samples, rate_hz), samples)])


def text_values(path, samples, rate_hz):
    """One column of volts and nothing else: the rate has to be given."""
    del rate_hz
    _text(path, [f"{v:.7g}" for v in samples])


def edge_list(path, start, edges):
    """Time and new state at every change of a two-level line."""
    rows = [f"{0.0:.9f},{start}"]
    for place, time in enumerate(edges):
        rows.append(f"{time:.9f},{(start + place + 1) % 2}")
    _text(path, ["time,state", *rows])


TEXT_STYLES = {
    "plain": text_plain,
    "preamble": text_preamble,
    "units": text_units,
    "decimal comma": text_decimal_comma,
    "short time": text_short_time,
    "tabs": text_tabs,
    "values": text_values,
}

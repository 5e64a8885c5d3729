"""Files in the layouts that instruments, recorders and numeric programs write, around one tag's signal made by `fdxb.py`.

Every layout is our own wording of a common form; none is a copy of an instrument's file. A shape is a function that writes files
into a folder and returns what a reader has to find in them.
"""

import datetime
import gzip
import io
import json
import struct
import zipfile
from dataclasses import dataclass, field

import numpy as np
import scipy.io
import soundfile

from fdxb import FIELD_HZ, Bench, pin_edges, random_tag, ripple_capture

AMPLITUDE_V = 1.6


@dataclass
class Made:
    """One file and what is true of it. `amplitude` is the field's, in the unit that has to be reported (None: not checked)."""

    path: str
    identity: str
    rate_hz: float
    amplitude: float | None = AMPLITUDE_V
    unit: str | None = None  # "V", "full scale", None where nothing states it
    channel: str | None = None
    kind: str = "direct"
    arguments: tuple = ()
    rate_tolerance: float = 1e-6


@dataclass
class Signal:
    """One capture in volts."""

    rate_hz: float
    volts: np.ndarray
    identity: str
    tag: object
    rng: np.random.Generator
    first_s: float = 0.0

    @property
    def times(self):
        return self.first_s + np.arange(self.volts.size) / self.rate_hz


def signal(rng, rate_hz=None, seconds=0.045, first_s=0.0, **settings):
    rate_hz = rate_hz or float(rng.choice((500e3, 625e3, 1e6)))
    tag = random_tag(rng, depth=0.05)
    drawn = dict(amplitude=AMPLITUDE_V, phase_deg=float(rng.uniform(0, 360)), ebn0_db=20.0, field_hz=FIELD_HZ + float(rng.uniform(-30, 30)))
    bench = Bench(rate_hz=rate_hz, seconds=seconds, **(drawn | settings))
    return Signal(rate_hz, ripple_capture(bench, tag, rng).samples, tag.number.id, tag, rng, first_s)


SHAPES = {}


def shape(name, **settings):
    """Registers a function (signal, path) -> facts; `settings` are those of `signal`."""

    def register(function):
        if name in SHAPES:
            raise ValueError(f"two shapes are called {name}")
        SHAPES[name] = (function, settings)
        return function

    return register


def make(name, folder, seed):
    """Writes a shape's files; the seed and the name alone decide what is in them."""
    function, settings = SHAPES[name]
    rng = np.random.default_rng([seed, *name.encode()])
    own = signal(rng, **settings)
    path = folder / "capture"  # nothing in the name
    facts = function(own, path) or {}
    return Made(**(dict(path=str(path), identity=own.identity, rate_hz=own.rate_hz) | facts))


# ---- text ----------------------------------------------------------------------------------------------------------

def put(path, lines, end="\n", encoding="utf-8", last=True):
    text = end.join(lines) + (end if last else "")
    path.write_bytes(text.encode(encoding))


def comma(text):
    return text.replace(".", ",")


VOLTS = dict(unit="V")
BARE = dict(unit=None)


def table(name, head, row, end="\n", encoding="utf-8", tail=(), facts=VOLTS, last=True, **settings):
    """A text shape: lines before the rows, a row for each (time in s, volts, index), lines behind."""

    def write(own, path):
        lines = head(own) if callable(head) else head
        rows = [row(t, v, k) for k, (t, v) in enumerate(zip(own.times, own.volts))]
        put(path, [*lines, *rows, *tail], end, encoding, last)
        return facts

    shape(name, **settings)(write)


table("semicolons, decimal commas, a micro sign of one byte", ["Zeit (µs);Spule (mV)"], lambda t, v, k: comma(f"{t * 1e6:.2f};{v * 1e3:.3f}"), "\r\n", "cp1252",
      facts=VOLTS | dict(channel="Spule"))
table("commas within quoted titles", ['"Time, s","Coil, V"'], lambda t, v, k: f"{t:.8f},{v:.5f}", facts=VOLTS | dict(channel="Coil"))
table("line ends of one carriage return", ["Time (s)\tCH1 (V)"], lambda t, v, k: f"{t:.8f}\t{v:.5f}", "\r")
table("UTF-16, high byte first", ["\ufeffTime (ms);Coil (V)"], lambda t, v, k: f"{t * 1e3:.6f};{v:.5f}", encoding="utf-16-be")
table("UTF-16, low byte first, nothing says so", ["Time (ms);Coil (V)"], lambda t, v, k: f"{t * 1e3:.6f};{v:.5f}", encoding="utf-16-le")
table("a line that names the separator", ["sep=;", "Time (s);CH1 (V)"], lambda t, v, k: comma(f"{t:.8f};{v:.5f}"), "\r\n")
table("a mark of order, then a line that names the separator", ["\ufeffsep=,", "Time (s),CH1 (V)"], lambda t, v, k: f"{t:.8f},{v:.5f}", "\r\n")
table("twenty lines of prose and settings", [
    "Bench log", "", "Operator: nobody", "Date: 2031-05-06", "Time: 07:08:09", "Probe: x10", "Coupling: DC", "Bandwidth: full", "Channels: 1", "Trigger: 0.5 V, rising",
    "Notes: the coil lay 3 cm above the reader", "", "Room 21.5 C", "Record 17", "Vertical: 0.5 V/div", "Horizontal: 5 ms/div", "Delay: 0 s", "", "DATA", "Time (s),CH1 (V)"],
    lambda t, v, k: f"{t:.8f},{v:.5f}")
table("signs and leading noughts everywhere", ["time,volt"], lambda t, v, k: f"{t:+012.8f},{v:+09.5f}")
table("numpy's savetxt", ["# time_s volts"], lambda t, v, k: f"{t:.18e} {v:.18e}")
table("names, units, comments", ["Time,Voltage", "ms,mV", "run 3,probe x1"], lambda t, v, k: f"{t * 1e3:.6f},{v * 1e3:.2f}")
table("a title alone, another unit in its line", ["Time [ns], Voltage [uV]"], lambda t, v, k: f"{t * 1e9:.0f}, {v * 1e6:.0f}")
table("sample number, time and four channels", ["No.;Time (ms);A (V);B (V);C (V);D (V)"],
      lambda t, v, k: f"{k + 1};{t * 1e3:.5f};{0.01 * (k % 3):.3f};0.5;{v:.4f};{1e-3 * (k * 7 % 11):.4f}", facts=VOLTS | dict(channel="C"))
table("channels in different units", ["t (s),low (V),coil (mV)"], lambda t, v, k: f"{t:.8f},{0.002 * (k % 2):.3f},{v * 1e3:.2f}", facts=VOLTS | dict(channel="coil"))
table("time behind the channel", ["CH1 (V),Time (s)"], lambda t, v, k: f"{v:.5f},{t:.8f}")
table("each channel with its own time", ["t1 (s),A (V),t2 (s),B (V)"], lambda t, v, k: f"{t:.8f},{v:.5f},{t:.8f},{0.001 * (k % 5):.4f}", facts=VOLTS | dict(channel="A"))
table("second, Volt below x-axis, 1", ["x-axis,1", "second,Volt"], lambda t, v, k: f"{t:+.9E},{v:+.5E}", first_s=-0.02)
table("units in brackets below quoted names, an empty line", ['"Time","Channel A","Channel B"', '"(us)","(mV)","(V)"', ""],
      lambda t, v, k: f"{t * 1e6:.3f},{v * 1e3:.2f},0.002", facts=VOLTS | dict(channel="Channel A"))
table("unit behind every value", ["Coil"], lambda t, v, k: f"{v:.4f}V", facts=VOLTS | dict(arguments=("--rate", "RATE")))
table("units behind both, semicolons", ["when;what"], lambda t, v, k: f"{t * 1e6:.2f} µs;{v * 1e3:.2f} mV")
table("units behind both, decimal commas and tabs", ["when\twhat"], lambda t, v, k: comma(f"{t * 1e3:.6f} ms\t{v:.5f} V"))
table("microseconds of a small computer", ["micros,adc"], lambda t, v, k: f"{t * 1e6:.1f},{round(v * 500)}", facts=BARE | dict(amplitude=None))
table("nanoseconds as whole numbers", ["timestamp_ns,volts"], lambda t, v, k: f"{t * 1e9:.0f},{v:.5f}")
table("seconds since 1970", ["epoch_s,coil_V"], lambda t, v, k: f"{1_925_363_289 + k // 500_000}.{k % 500_000 * 2:06d},{v:.5f}", rate_hz=500e3)
table("milliseconds after a slash", ["t/ms U/V"], lambda t, v, k: f"{t * 1e3:.6f} {v:.5f}", facts=VOLTS | dict(channel="U"))
table("titles of one letter", ["X,Y"], lambda t, v, k: f"{t:.8f},{v:.5f}", facts=BARE)
table("no title, microseconds", [], lambda t, v, k: f"{t * 1e6:.2f},{v:.5f}", facts=BARE)
table("no title, milliseconds and tabs", [], lambda t, v, k: f"{t * 1e3:.5f}\t{v:.5f}", facts=BARE)
table("a title without a unit, microseconds", ["Time,CH1"], lambda t, v, k: f"{t * 1e6:.2f},{v:.5f}", facts=BARE)
table("a title without a unit, nanoseconds from before the trigger", ["Time;CH1"], lambda t, v, k: f"{t * 1e9:.0f};{v:.5f}", facts=BARE, first_s=-0.01)
table("seconds, says the title, but they are milliseconds", ["Time (s),CH1 (V)"], lambda t, v, k: f"{t * 1e3:.6f},{v:.5f}")
table("trailing separators and three closing rows of them", ["Time (s),CH1 (V),CH2 (V),"], lambda t, v, k: f"{t:.8f},{v:.5f},0.001,", tail=[",,,", ",,,", ",,,"],
      facts=VOLTS | dict(channel="CH1"))
table("blank lines at the end, a final mark", ["Time (s),CH1 (V)"], lambda t, v, k: f"{t:.8f},{v:.5f}", "\r\n", tail=["", "", "\x1a"])
table("a closing line of words", ["Time (s),CH1 (V)"], lambda t, v, k: f"{t:.8f},{v:.5f}", tail=["END"])
table("no line end behind the last row", ["Time (s),CH1 (V)"], lambda t, v, k: f"{t:.8f},{v:.5f}", last=False)
table("blanks aligned in columns", ["    time_s        coil_V"], lambda t, v, k: f"{t:12.8f}  {v:12.5f}")
table("words beside numbers", ["state;Time (s);CH1 (V);flag"], lambda t, v, k: f"run;{t:.8f};{v:.5f};h{k % 16:02x}")
table("bus states and yes or no", ["Time (s),CH1 (V),bus,valid"], lambda t, v, k: f"{t:.8f},{v:.5f},X,{'yes' if k % 3 else 'no'}")
table("words in quotes", ['"Time (s)","Note","CH1 (V)"'], lambda t, v, k: f'"{t:.8f}","a, b","{v:.5f}"')
table("a settings line of cells with units", ["#timebase=5000000(ns),#voltbase=500000(uV),#points=9"], lambda t, v, k: f"{t * 1e12:.0f},{v:.5f}", facts=BARE)
table("settings in cells, then titles", ["rate=RATE(Hz);range=2(V);points=9", "time;coil"], lambda t, v, k: f"{t:.8f};{v:.5f}", facts=BARE)
table("values over range in words", ["Time (s),CH1 (V)"], lambda t, v, k: f"{t:.8f},{'Overload' if k == 77 else f'{v:.5f}'}")
table("counts of the converter that are called volts", ["Time (s),CH1 (V)"], lambda t, v, k: f"{t:.8f},{round(v * 4000)}", facts=VOLTS | dict(amplitude=4000 * AMPLITUDE_V))
table("bars between the columns", ["Time (s)|CH1 (V)"], lambda t, v, k: f"{t:.8f}|{v:.5f}")
table("comments with two strokes", ["// bench", "// time in s, coil in V"], lambda t, v, k: f"{t:.8f},{v:.5f}")
table("times with few digits", ["s,V"], lambda t, v, k: f"{t:.5f},{v:.4f}", facts=VOLTS | dict(rate_tolerance=3e-4))
table("a spreadsheet's minus and thin blanks", ["Time (s);CH1 (V)"], lambda t, v, k: f"{t:.8f};{v:.5f}".replace("-", "\u2212"))
table("times in threes", ["Time;CH1 (V)"], lambda t, v, k: f"{t * 1e3:.6f}"[:-3] + " " + f"{t * 1e3:.6f}"[-3:] + f" ms;{v:.5f}")


# ---- text: settings --------------------------------------------------------------------------------------------------

def setting(name, lines, row=lambda t, v, k: f"{v:.5f}", facts=BARE, **settings):
    """The rate stands in lines before the rows: KHZ, HZ, US (microseconds), S are filled in."""

    def head(own):
        filled = []
        for line in lines:
            for word, value in (("KHZ", f"{own.rate_hz / 1e3:g}"), ("MHZ", f"{own.rate_hz / 1e6:g}"), ("HZ", f"{own.rate_hz:.0f}"), ("US", f"{1e6 / own.rate_hz:g}"),
                                ("NS", f"{1e9 / own.rate_hz:g}"), ("SEC", f"{1 / own.rate_hz:.6e}"), ("FIRST", f"{own.first_s:.6e}")):
                line = line.replace("{" + word + "}", value)
            filled.append(line)
        return filled

    table(name, head, row, facts=facts, **settings)


setting("setting: time interval with a colon and its unit in the cell", ["Time interval :,{US}uS", "Volt/div :,500mV", "CH1"])
setting("setting: sampling rate in kS/s in the key", ["Sampling rate [kS/s]: {KHZ}", "coil [V]"], facts=VOLTS)
setting("setting: frequency in MHz in the key", ["Sample Frequency (MHz) = {MHZ}"])
setting("setting: fs alone", ["# fs={HZ}"])
setting("setting: capitals and underscores", ["SAMPLE_RATE: {HZ} Sa/s", "UNITS: V"], facts=VOLTS | dict(channel="1"))
setting("setting: dt", ["# dt = {SEC}", "# coil"])
setting("setting: delta t in microseconds", ["Delta t: {US} µs"])
setting("setting: samples per second", ["Samples per second;{HZ}"])
setting("setting: the key on one line, its value below", ["Start,Increment,CH1", "{FIRST},{SEC},Volt"], lambda t, v, k: f",,{v:.5f}", facts=VOLTS)
setting("setting: channels first, then start and increment", ["CH1,CH2,Start,Increment", "Volt,Volt,{FIRST},{SEC}"], lambda t, v, k: f"{v:.5f},0.002,,",
        facts=VOLTS | dict(channel="CH1"), first_s=-0.0225)
setting("setting: X counts, start and increment", ["X,CH1,CH2,Start,Increment,", "Sequence,Volt,Volt,{FIRST},{SEC}"], lambda t, v, k: f"{k},{v:.5f},0.002,,,",
        facts=VOLTS | dict(channel="CH1"))
setting("setting: seconds per sample and the trigger", ["Trigger sample,100", "Seconds per sample,{SEC}", "Volts"], facts=VOLTS)
setting("setting: sample interval, unit in its own cell, quoted", ['"Sample Interval","{SEC}","s"', '"Record Length","9"', '"CH1"'])
setting("setting: kHz behind a blank", ["Sampling Frequency {KHZ} kHz", "", "CH1 CH2"], lambda t, v, k: f"{v:.5f} 0.001")
setting("setting: semicolon comment lines", ["; recorded by a bench", "; Samplerate: {KHZ} kHz", "; Channels (1/1): A", "A"])
setting("setting: German words", ["Abtastrate;{KHZ};kHz", "Kanal 1 (V)"], lambda t, v, k: comma(f"{v:.5f}"), facts=VOLTS)
setting("setting: nanoseconds and a vertical unit", ["Horizontal Units,ns", "Sample Period,{NS},ns", "Vertical Units,V"], facts=VOLTS)
setting("setting: words that look like a rate", ["Frame rate: 25 Hz", "Sample rate: {HZ} Hz"])
setting("setting: millions with separators", ["Sample rate: {MHZ} MS/s, 8 bit"])
setting("setting: one line of JSON in a comment", ['# {"sample_rate": {HZ}, "unit": "V"}'])


@shape("setting: values left of the first rows")
def _(own, path):
    left = ["Record Length,9,Points", f"Sample Interval,{1 / own.rate_hz:.6e},s", "Vertical Units,V,", "Source,CH1,", "Probe,1,"]
    put(path, [f"{left[k] if k < len(left) else ',,'},{t:.9f},{v:.5f}" for k, (t, v) in enumerate(zip(own.times, own.volts))])
    return VOLTS


# ---- text: moments and pieces ------------------------------------------------------------------------------------------

START = datetime.datetime(2031, 5, 6, 23, 59, 59, 980_000)


def moment(seconds, text, digits=7, start=START):
    """A time stamp with a fraction of `digits` digits, midnight within the record."""
    count = round((start.microsecond / 1e6 + seconds) * 10**digits)
    whole = start.replace(microsecond=0) + datetime.timedelta(seconds=count // 10**digits)
    return whole.strftime(text).replace("FFF", f"{count % 10**digits:0{digits}d}")


for _name, _head, _text, _mark in (
    ("ISO 8601 with Z", "timestamp,coil (V)", "%Y-%m-%dT%H:%M:%S.FFFZ", "."),
    ("ISO 8601 with a zone", "time,coil (V)", "%Y-%m-%dT%H:%M:%S.FFF+02:00", "."),
    ("a date, a blank, a clock", "Date/Time;coil (V)", "%Y-%m-%d %H:%M:%S,FFF", ","),
    ("day, month, year with points", "Datum;coil (V)", "%d.%m.%Y %H:%M:%S,FFF", ","),
    ("year, month, day with strokes", "date,coil (V)", "%Y/%m/%d %H:%M:%S.FFF", "."),
    ("a clock alone", "Clock;coil (V)", "%H:%M:%S.FFF", "."),
    ("date and clock in two columns", "Date,Time,coil (V)", "%Y-%m-%d,%H:%M:%S.FFF", "."),
    ("quoted time stamps", "timestamp,coil (V)", '"%Y-%m-%dT%H:%M:%S.FFFZ"', "."),
):
    table(f"moments: {_name}", [_head], lambda t, v, k, text=_text, mark=_mark, head=_head: f"{moment(t, text)}{';' if ';' in head else ','}{f'{v:.5f}'.replace('.', mark)}",
          facts=VOLTS | dict(channel="coil"))
# A day that may be a month, beside one that may not.
for _name, _start in (("a new month", START.replace(month=1, day=31)), ("from the 12th to the 13th", START.replace(month=3, day=12)), ("a new year", START.replace(month=12, day=31))):
    table(f"moments: day, month, year with strokes, {_name}", ["date,coil (V)"], lambda t, v, k, start=_start: f"{moment(t, '%d/%m/%Y %H:%M:%S.FFF', start=start)},{v:.5f}",
          facts=VOLTS | dict(channel="coil"))
table("moments: microseconds only", ["timestamp,coil (V)"], lambda t, v, k: f"{moment(t, '%Y-%m-%dT%H:%M:%S.FFF', 6)},{v:.5f}", facts=VOLTS | dict(rate_tolerance=1e-5))


def pieces(name, between, head=("Time (s),CH1 (V)",), row=lambda t, v, piece: f"{t:.8f},{v:.5f}", **settings):
    @shape(name, seconds=0.12, **settings)
    def _(own, path):
        each = own.volts.size // 3
        lines = list(head)
        for piece in range(3):
            lines += between(piece) if piece else []
            lines += [row(k / own.rate_hz - 0.001, v, piece) for k, v in enumerate(own.volts[piece * each : (piece + 1) * each])]
        put(path, lines)
        return VOLTS


pieces("pieces: the time begins anew", lambda piece: [])
pieces("pieces: an empty line between", lambda piece: [""])
pieces("pieces: a number in front", lambda piece: [], ("Segment,Time (s),CH1 (V)",), lambda t, v, piece: f"{piece + 1},{t:.8f},{v:.5f}")
pieces("pieces: titles repeated", lambda piece: ["", "Time (s),CH1 (V)"])
pieces("pieces: a comment between", lambda piece: [f"# segment {piece + 1}"])


# ---- states as text ----------------------------------------------------------------------------------------------------

def edges(own, seconds=0.1):
    start, times = pin_edges(own.tag, seconds)
    states = (start + 1 + np.arange(times.size)) % 2
    return start, times, states


LOGIC = dict(kind="logic", amplitude=None, rate_hz=None)


@shape("states: edges of three lines, one row a change")
def _(own, path):
    start, times, states = edges(own)
    other = np.sort(own.rng.uniform(0, 0.1, 300))
    rows = {0.0: (0, 0, start)}
    merged = sorted([(t, "pin", s) for t, s in zip(times, states)] + [(t, "other", k % 2) for k, t in enumerate(other)])
    pin, spare = start, 0
    for t, which, state in merged:
        if which == "pin":
            pin = state
        else:
            spare = 1 - spare
        rows[t] = (spare, 0, pin)
    put(path, ["Time [s],Channel 0,Channel 1,Channel 2", *(f"{t:.9f},{a},{b},{c}" for t, (a, b, c) in rows.items())])
    return LOGIC | dict(channel="Channel 2")


@shape("states: edges in milliseconds, decimal commas")
def _(own, path):
    start, times, states = edges(own)
    put(path, ["Zeit (ms);DATA", f"0,000000;{start}", *(comma(f"{t * 1e3:.6f}") + f";{s}" for t, s in zip(times, states))])
    return LOGIC


@shape("states: sampled, the rate in a comment")
def _(own, path):
    start, times, _ = edges(own)
    level = (start + np.searchsorted(times, np.arange(50_000) / 500e3, side="right")) % 2
    put(path, ["; made at a bench", "; Samplerate: 500 kHz", "logic,logic", *(f"{a},0" for a in level)])
    return LOGIC | dict(rate_hz=500e3)


@shape("states: sampled, time and eight lines")
def _(own, path):
    start, times, _ = edges(own)
    at = np.arange(40_000) / 400e3
    level = (start + np.searchsorted(times, at, side="right")) % 2
    put(path, ["Time (us)," + ",".join(f"D{k}" for k in range(8)), *(f"{t * 1e6:.2f},0,0,0,{a},1,1,{k // 64 % 2},0" for k, (t, a) in enumerate(zip(at, level)))])
    return LOGIC | dict(rate_hz=400e3, channel="D3")


def dump(path, own, unit="1 ns", unit_s=1e-9, style="plain"):
    start, times, states = edges(own)
    lines = ["$date today $end", "$version bench 1.0 $end", f"$timescale {unit} $end"]
    if style == "spread":
        lines = ["$date", "  2031-05-06 07:08:09", "$end", "$comment", "  three lines", "  of words", "$end", "$timescale", f"  {unit}", "$end"]
    code = {"plain": "!", "spread": "ab", "vector": "#1"}[style]
    width = "wire 1" if style != "vector" else "reg 1"
    lines += ["$scope module top $end", f"$var {width} {code} coil $end", "$var wire 1 \" clock $end", "$var wire 4 % bus [3:0] $end", "$var real 64 & level $end", "$upscope $end", "$enddefinitions $end"]
    write = (lambda s: f"b{s} {code}") if style == "vector" else (lambda s: f"{s}{code}")
    lines += ["#0", "$dumpvars", write(start), "x\"", "bxxxx %", "r0 &", "$end"]
    for k, (t, s) in enumerate(zip(times, states)):
        lines += [f"#{round(t / unit_s)}", write(s)] + (["b0101 %", "r1.5e-3 &"] if k % 50 == 0 else [])
    lines.append(f"#{round(0.1 / unit_s)}")
    put(path, lines)
    return LOGIC | dict(channel="coil")


shape("value changes: nanoseconds")(lambda own, path: dump(path, own))
shape("value changes: 10 ns, header over several lines")(lambda own, path: dump(path, own, "10ns", 1e-8, "spread"))
shape("value changes: microseconds")(lambda own, path: dump(path, own, "1 us", 1e-6))
shape("value changes: 100 ps")(lambda own, path: dump(path, own, "100 ps", 1e-10))
shape("value changes: one bit as a vector")(lambda own, path: dump(path, own, style="vector"))


SQUARED = LOGIC | dict(kind="direct")  # two levels of a carrier


def squared(own, step_s):
    """Moments at which the carrier crosses nought, as an analyser's clock sees them, and the state from there on."""
    times = np.arange(round(0.06 / step_s)) * step_s
    relative = 1 + 0.05j * own.tag.states(FIELD_HZ * times + own.tag.start_cycles)
    level = (relative * np.exp(2j * np.pi * FIELD_HZ * times)).real > 0
    changed = np.flatnonzero(np.diff(level)) + 1
    return int(level[0]), changed, level[changed].astype(int)


@shape("value changes: the carrier itself, squared up")
def _(own, path):
    start, changed, states = squared(own, 1e-8)
    lines = ["$timescale 10 ns $end", "$var wire 1 ! SQ $end", "$enddefinitions $end", f"#0 {start}!"]
    put(path, lines + [f"#{at} {s}!" for at, s in zip(changed, states)])
    return SQUARED


@shape("states: edges of the carrier, squared up")
def _(own, path):
    start, changed, states = squared(own, 1e-8)
    put(path, ["Time (s),SQ", f"0.00000000,{start}", *(f"{at * 1e-8:.8f},{s}" for at, s in zip(changed, states))])
    return SQUARED


# ---- sound files -------------------------------------------------------------------------------------------------------

FULL_V = 2.0
SCALED = dict(unit="full scale", amplitude=AMPLITUDE_V / FULL_V)


def codes(own, bits):
    half = 2 ** (bits - 1)
    return np.clip(np.round(own.volts / FULL_V * half), -half, half - 1).astype(np.int64)


def chunk(name, body):
    return name + struct.pack("<I", len(body)) + body + b"\0" * (len(body) % 2)


def form(tag, channels, rate_hz, bits, valid=None, extensible=False):
    frame = channels * bits // 8
    if not extensible:
        return struct.pack("<HHIIHH", tag, channels, round(rate_hz), round(rate_hz) * frame, frame, bits)
    guid = struct.pack("<H", tag) + bytes.fromhex("000000001000800000AA00389B71")
    return struct.pack("<HHIIHH", 0xFFFE, channels, round(rate_hz), round(rate_hz) * frame, frame, bits) + struct.pack("<HHI", 22, valid or bits, 0) + guid


def wave(*chunks, total=None, magic=b"RIFF"):
    body = b"WAVE" + b"".join(chunks)
    return magic + struct.pack("<I", len(body) if total is None else total) + body


def int_bytes(values, size):
    return values.astype("<i8").view("u1").reshape(-1, 8)[:, :size].tobytes()


@shape("WAV: 24 bits, extensible")
def _(own, path):
    path.write_bytes(wave(chunk(b"fmt ", form(1, 1, own.rate_hz, 24, extensible=True)), chunk(b"data", int_bytes(codes(own, 24), 3))))
    return SCALED


@shape("WAV: 32 bits, a list and a broadcast chunk before the samples")
def _(own, path):
    path.write_bytes(wave(chunk(b"bext", b"bench" + b"\0" * 600), chunk(b"fmt ", form(1, 1, own.rate_hz, 32)), chunk(b"LIST", b"INFOISFT\5\0\0\0bench\0"), chunk(b"data", int_bytes(codes(own, 32), 4))))
    return SCALED


@shape("WAV: floats, extensible, a fact chunk")
def _(own, path):
    path.write_bytes(wave(chunk(b"fmt ", form(3, 1, own.rate_hz, 32, extensible=True)), chunk(b"fact", struct.pack("<I", own.volts.size)), chunk(b"data", own.volts.astype("<f4").tobytes())))
    return BARE


@shape("WAV: doubles")
def _(own, path):
    path.write_bytes(wave(chunk(b"fmt ", form(3, 1, own.rate_hz, 64)), chunk(b"data", own.volts.astype("<f8").tobytes())))
    return BARE


@shape("WAV: 12 bits in 16")
def _(own, path):
    path.write_bytes(wave(chunk(b"fmt ", form(1, 1, own.rate_hz, 16, valid=12, extensible=True)), chunk(b"data", int_bytes(codes(own, 12) << 4, 2))))
    return SCALED


@shape("WAV: streamed, lengths of all ones")
def _(own, path):
    path.write_bytes(wave(chunk(b"fmt ", form(1, 1, own.rate_hz, 16)), b"data" + b"\xff" * 4 + int_bytes(codes(own, 16), 2), total=0xFFFFFFFF))
    return SCALED


@shape("WAV: RF64")
def _(own, path):
    data = int_bytes(codes(own, 16), 2)
    path.write_bytes(wave(chunk(b"ds64", struct.pack("<QQQI", len(data) + 100, len(data), len(data) // 2, 0)), chunk(b"fmt ", form(1, 1, own.rate_hz, 16)), b"data" + b"\xff" * 4 + data, total=0xFFFFFFFF, magic=b"RF64"))
    return SCALED


@shape("WAV: unsigned 8 bits, two channels, the tag in the second", rate_hz=1e6)
def _(own, path):
    quiet = 128 + own.rng.integers(-1, 2, own.volts.size)
    both = np.stack((quiet, codes(own, 8) + 128), axis=1).astype("u1")
    path.write_bytes(wave(chunk(b"fmt ", form(1, 2, own.rate_hz, 8)), chunk(b"data", both.tobytes())))
    return SCALED | dict(channel="2")


def auxi(centre_hz):
    date = struct.pack("<8H", 2031, 5, 2, 6, 7, 8, 9, 0)
    return chunk(b"auxi", date * 2 + struct.pack("<IIIIIIIII", round(centre_hz), 0, 0, 0, 0, 0, 0, 0, 0))


IQ = dict(kind="iq", seconds=0.08, rate_hz=96_000.0, centre_hz=140_000.0)


def pairs(own):
    return np.stack((own.volts.real, own.volts.imag), axis=1)


@shape("WAV: I/Q, the centre in a chunk before the samples", **IQ)
def _(own, path):
    path.write_bytes(wave(chunk(b"fmt ", form(1, 2, own.rate_hz, 16)), auxi(140e3), chunk(b"data", np.round(pairs(own) / FULL_V * 32768).astype("<i2").tobytes())))
    return SCALED | dict(kind="iq")


@shape("WAV: I/Q of floats, the centre before the format", **IQ)
def _(own, path):
    path.write_bytes(wave(auxi(140e3), chunk(b"fmt ", form(3, 2, own.rate_hz, 32)), chunk(b"data", pairs(own).astype("<f4").tobytes())))
    return BARE | dict(kind="iq")


@shape("WAV: I/Q, the centre in a chunk behind the samples", **IQ)
def _(own, path):
    path.write_bytes(wave(chunk(b"fmt ", form(1, 2, own.rate_hz, 16)), chunk(b"data", np.round(pairs(own) / FULL_V * 32768).astype("<i2").tobytes()), auxi(140e3)))
    return SCALED | dict(kind="iq")


for _bits, _subtype in ((16, "PCM_16"), (24, "PCM_24")):
    @shape(f"FLAC: {_bits} bits", rate_hz=500e3)
    def _(own, path, subtype=_subtype):
        soundfile.write(path, own.volts / FULL_V, round(own.rate_hz), format="FLAC", subtype=subtype)
        return SCALED


@shape("FLAC: two channels, folded", rate_hz=192_000.0)
def _(own, path):
    soundfile.write(path, np.stack((own.rng.normal(0, 1e-4, own.volts.size), own.volts / FULL_V), axis=1), 192_000, format="FLAC", subtype="PCM_24")
    return SCALED | dict(channel="2", kind="folded")


# ---- arrays --------------------------------------------------------------------------------------------------------------

RATED = dict(arguments=("--rate", "RATE"))


def array(name, of, facts=BARE, **settings):
    @shape(f"NPY: {name}", **settings)
    def _(own, path):
        with open(path, "wb") as out:
            np.save(out, of(own))
        return facts


array("doubles, the rate given", lambda own: own.volts, BARE | RATED)
array("big-endian 16-bit integers, the rate given", lambda own: codes(own, 16).astype(">i2"), SCALED | RATED)
array("time and volts", lambda own: np.stack((own.times, own.volts), axis=1))
array("time and volts as two rows", lambda own: np.stack((own.times, own.volts)))
array("time and two channels, Fortran order, single precision", lambda own: np.asfortranarray(np.stack((own.times, 0.001 * np.sin(np.arange(own.volts.size)), own.volts), axis=1).astype("<f4")), BARE | dict(rate_tolerance=1e-5, channel="3"))
array("time from before the trigger", lambda own: np.stack((own.times, own.volts), axis=1), first_s=-0.02)
array("time in microseconds", lambda own: np.stack((own.times * 1e6, own.volts), axis=1))
array("time in milliseconds", lambda own: np.stack((own.times * 1e3, own.volts), axis=1))
array("named fields", lambda own: np.array(list(zip(own.times, own.volts)), dtype=[("time", "<f8"), ("coil", "<f4")]), BARE | dict(channel="coil"))
array("one column", lambda own: own.volts[:, None].astype("<f4"), BARE | RATED)
array("one row of three dimensions", lambda own: own.volts[None, :, None].astype("<f4"), BARE | RATED)
array("complex, rate and centre given", lambda own: own.volts.astype("<c8"), BARE | dict(kind="iq", arguments=("--rate", "RATE", "--centre", "140000")), **IQ)
array("complex doubles in a column", lambda own: own.volts[:, None], BARE | dict(kind="iq", arguments=("--rate", "RATE", "--centre", "140000")), **IQ)


def packed(name, of, facts=BARE, compressed=True, **settings):
    @shape(f"NPZ: {name}", **settings)
    def _(own, path):
        with open(path, "wb") as out:
            (np.savez_compressed if compressed else np.savez)(out, **of(own))
        return facts


packed("time and volts", lambda own: dict(t=own.times, v=own.volts))
packed("volts and a rate, not packed", lambda own: dict(fs=own.rate_hz, samples=own.volts), compressed=False)
packed("an interval and words", lambda own: dict(unit=np.array("V"), dt=1 / own.rate_hz, coil=own.volts, note=np.array(["a", "b"])))
packed("sample_rate in an array of one", lambda own: dict(data=own.volts.astype("f4"), sample_rate=np.array([own.rate_hz])))
packed("times in microseconds", lambda own: dict(time_us=own.times * 1e6, coil_mV=own.volts * 1e3), VOLTS)
packed("one array without a name", lambda own: dict(arr_0=own.volts), BARE | RATED)
packed("complex, rate and centre", lambda own: dict(iq=own.volts.astype("c8"), fs=own.rate_hz, center_freq=140e3), BARE | dict(kind="iq"), **IQ)
packed("a table of time and volts", lambda own: dict(table=np.stack((own.times, own.volts), axis=1), settings=np.arange(5.0)))


def mat(name, of, facts=BARE, **settings):
    keys = ("do_compression", "oned_as", "format")
    options = {key: settings.pop(key) for key in keys if key in settings}

    @shape(f"MAT: {name}", **settings)
    def _(own, path):
        with open(path, "wb") as out:
            scipy.io.savemat(out, of(own), **options)
        return facts


mat("time and volts, columns, packed", lambda own: dict(t=own.times[:, None], v=own.volts[:, None]), do_compression=True)
mat("rows, plain, and a rate", lambda own: dict(Fs=own.rate_hz, x=own.volts), oned_as="row")
mat("singles and an interval", lambda own: dict(A=own.volts.astype("f4")[:, None], Tinterval=1 / own.rate_hz, Tstart=-0.01, Length=own.volts.size))
mat("16-bit integers and a rate", lambda own: dict(coil=codes(own, 16).astype("<i2"), sampleRate=own.rate_hz), BARE | dict(amplitude=None), do_compression=True)
mat("a matrix of time and volts, packed", lambda own: dict(data=np.stack((own.times, own.volts), axis=1), who="bench"), do_compression=True)
mat("two channels beside a time in milliseconds", lambda own: dict(time_ms=own.times * 1e3, a=0 * own.volts, b=own.volts), BARE | dict(channel="b"))
mat("complex with its rate", lambda own: dict(iq=own.volts, fs=own.rate_hz), BARE | dict(kind="iq", arguments=("--centre", "140000")), do_compression=True, **IQ)
mat("fields of a structure", lambda own: dict(capture=dict(t=own.times, v=own.volts)))


# ---- archives ------------------------------------------------------------------------------------------------------------

def rows(own, head="Time (s),CH1 (V)"):
    return "\n".join([head, *(f"{t:.8f},{v:.5f}" for t, v in zip(own.times, own.volts)), ""]).encode()


@shape("packed: text in gzip")
def _(own, path):
    path.write_bytes(gzip.compress(rows(own)))
    return VOLTS


@shape("packed: an array in gzip")
def _(own, path):
    out = io.BytesIO()
    np.save(out, np.stack((own.times, own.volts), axis=1))
    path.write_bytes(gzip.compress(out.getvalue(), 1))
    return BARE


@shape("packed: value changes in gzip")
def _(own, path):
    facts = dump(path, own)
    path.write_bytes(gzip.compress(path.read_bytes()))
    return facts


@shape("packed: two gzip members, one behind the other")
def _(own, path):
    text = rows(own)
    path.write_bytes(gzip.compress(text[: len(text) // 2]) + gzip.compress(text[len(text) // 2 :]))
    return VOLTS


@shape("packed: text in zip beside a note")
def _(own, path):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("README.txt", "A capture of a bench. Nothing else.\n")
        out.writestr("run/capture.csv", rows(own))
    return VOLTS


class Pipe(io.RawIOBase):
    """Cannot go back, so that sizes stand behind what they belong to."""

    def __init__(self, out):
        self.out = out

    def writable(self):
        return True

    def write(self, data):
        return self.out.write(data)


@shape("packed: zip written into a pipe")
def _(own, path):
    with open(path, "wb") as file, zipfile.ZipFile(Pipe(file), "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("settings.json", "{}")
        out.writestr("capture.csv", rows(own))
    return VOLTS


@shape("packed: zip, stored, in gzip")
def _(own, path):
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as out:
        out.writestr("capture.csv", rows(own))
    path.write_bytes(gzip.compress(inner.getvalue()))
    return VOLTS


@shape("packed: WAV in zip with long sizes")
def _(own, path):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out, out.open("a.wav", "w", force_zip64=True) as member:
        member.write(wave(chunk(b"fmt ", form(1, 1, own.rate_hz, 16)), chunk(b"data", int_bytes(codes(own, 16), 2))))
    return SCALED


# ---- SigMF ---------------------------------------------------------------------------------------------------------------

def sigmf(name, datatype, data, facts, give="meta", globals_=None, captures=None, front=b"", indent=None, order=("global", "captures", "annotations"), **settings):
    @shape(f"SigMF: {name}", **settings)
    def _(own, path):
        meta = {
            "global": {"core:datatype": datatype, "core:sample_rate": own.rate_hz, "core:version": "1.0.0", "core:description": "a bench"} | (globals_ or {}),
            "captures": captures or [{"core:sample_start": 0}],
            "annotations": [],
        }
        own_meta, own_data = path.with_name("bench.sigmf-meta"), path.with_name("bench.sigmf-data")
        own_meta.write_text(json.dumps({key: meta[key] for key in order}, indent=indent))
        own_data.write_bytes(front + data(own))
        return facts | dict(path=str(own_meta if give == "meta" else own_data))


CENTRED = [{"core:sample_start": 0, "core:frequency": 140e3, "core:datetime": "2031-05-06T07:08:09Z"}]
COMPLEX = SCALED | dict(kind="iq")
sigmf("complex floats", "cf32_le", lambda own: pairs(own).astype("<f4").tobytes(), BARE | dict(kind="iq"), captures=CENTRED, **IQ)
sigmf("complex integers, from the data", "ci16_le", lambda own: np.round(pairs(own) / FULL_V * 32768).astype("<i2").tobytes(), COMPLEX, "data", captures=CENTRED, indent=4, **IQ)
sigmf("complex bytes", "cu8", lambda own: np.round(pairs(own) / FULL_V * 128 + 128).astype("u1").tobytes(), COMPLEX, captures=CENTRED, **(IQ | dict(seconds=0.12)))
sigmf("real integers, high byte first", "ri16_be", lambda own: codes(own, 16).astype(">i2").tobytes(), SCALED)
sigmf("real floats, global last", "rf32_le", lambda own: own.volts.astype("<f4").tobytes(), BARE, order=("annotations", "captures", "global"))
sigmf("two channels", "rf32_le", lambda own: np.stack((0 * own.volts, own.volts), axis=1).astype("<f4").tobytes(), BARE | dict(channel="2"), globals_={"core:num_channels": 2})
sigmf("a header before the samples", "ri16_le", lambda own: codes(own, 16).astype("<i2").tobytes(), SCALED, captures=[{"core:sample_start": 0, "core:header_bytes": 4097}], front=bytes(range(256)) * 16 + b"x")
sigmf("trailing bytes", "rf64_le", lambda own: own.volts.astype("<f8").tobytes() + b"\x7f" * 4096, BARE, globals_={"core:trailing_bytes": 4096})


@shape("SigMF: samples under another name")
def _(own, path):
    meta = {"global": {"core:datatype": "ri16_le", "core:sample_rate": own.rate_hz, "core:version": "1.0.0", "core:dataset": "samples.bin"}, "captures": [{"core:sample_start": 0}], "annotations": []}
    own_meta = path.with_name("bench.sigmf-meta")
    own_meta.write_text(json.dumps(meta))
    path.with_name("samples.bin").write_bytes(codes(own, 16).astype("<i2").tobytes())
    return SCALED | dict(path=str(own_meta))


@shape("SigMF: an archive", **IQ)
def _(own, path):
    import tarfile

    meta = {"global": {"core:datatype": "cf32_le", "core:sample_rate": own.rate_hz, "core:version": "1.0.0"}, "captures": CENTRED, "annotations": []}
    with tarfile.open(path, "w") as out:
        for name, data in (("bench/bench.sigmf-meta", json.dumps(meta).encode()), ("bench/bench.sigmf-data", pairs(own).astype("<f4").tobytes())):
            info = tarfile.TarInfo(name)
            info.size = len(data)
            out.addfile(info, io.BytesIO(data))
    return BARE | dict(kind="iq")


# ---- bare samples ----------------------------------------------------------------------------------------------------------

@shape("raw: 16-bit integers")
def _(own, path):
    codes(own, 16).astype("<i2").tofile(path)
    return SCALED | dict(arguments=("--raw", "i16", "--rate", "RATE"))


@shape("raw: complex floats", **IQ)
def _(own, path):
    own.volts.astype("<c8").tofile(path)
    return BARE | dict(kind="iq", arguments=("--raw", "cf32", "--rate", "RATE", "--centre", "140000"))

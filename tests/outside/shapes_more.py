"""A second hand of layouts, written after the first ones were read and before looking at how these are."""

import numpy as np

from shapes import AMPLITUDE_V, BARE, FULL_V, IQ, LOGIC, RATED, SCALED, VOLTS, chunk, codes, edges, form, int_bytes, moment, put, setting, shape, table, wave

TWO = VOLTS | dict(channel="CH1")

setting("more: interval with the kind of channel before the value", ["Record Length,Analog:9", "Sample Interval,Analog:{SEC}", "Vertical Units,CH1:V", "Source,CH1", "Second,Volt"],
        lambda t, v, k: f"{t:.8f},{v:.5f}", facts=TWO)
setting("more: a measured frequency beside the interval", ["Channel :,CH1", "Frequency :,F=134.2kHz", "PK-PK :,3.20V", "Time interval :,{US}uS", "Voltage per value :,0.04mV", " ,CH1_Voltage(mV)"],
        lambda t, v, k: f"{k},{v * 1e3:.2f}", facts=VOLTS)
setting("more: keys and values, a closing comma in each row", ["Format,1.0", "Memory Length,9", "Source,CH1", "Vertical Units,V", "Horizontal Units,S", "Sampling Period,{SEC}", "Mode,Fast", "Waveform Data,"],
        lambda t, v, k: f"{v:.5f},", facts=VOLTS)
setting("more: quoted keys, a comma before each value", ['"TraceName","CH1"', '"BlockSize",9', '"VUnit","V"', '"HResolution",{SEC}', '"HOffset",0.0', '"HUnit","s"', ""],
        lambda t, v, k: f",{v:.5f}", facts=VOLTS)
setting("more: short keys of a preamble", ["Type: raw", "Points: 9", "Count: 1", "XInc: {SEC}", "XOrg: {FIRST}", "XRef: 0", "YData:"], facts=BARE)
setting("more: a header that ends in stars", ["Writer\t2", "Separator\tTab", "X_Columns\tNo", "***End_of_Header***", "", "Channels\t1", "Samples\t9", "Y_Unit_Label\tVolts", "X_Dimension\tTime",
                                              "X0\t0.0", "Delta_X\t{SEC}", "***End_of_Header***", "X_Value\tVoltage\tComment"], lambda t, v, k: f"\t{v:.6f}", facts=BARE)
setting("more: the same with times", ["Separator\tTab", "X_Columns\tOne", "Delta_X\t{SEC}", "***End_of_Header***", "X_Value\tVoltage\tComment"], lambda t, v, k: f"{t:.8f}\t{v:.6f}",
        facts=BARE | dict(channel="Voltage"))
setting("more: segments counted, a trigger's date", ["Waveform,1", "Segments,1,SegmentSize,9", "Segment,TrigTime,TimeSinceSegment1", "#1,06-May-2031 07:08:09,0", "Time,Ampl"], lambda t, v, k: f"{t:.8f},{v:.5f}",
        facts=BARE | dict(channel="Ampl"))
setting("more: a sound editor's list", ["capture.wav   1 channel (mono)", "Sample Rate: {HZ} Hz. Sample values on linear scale. 1 channel (mono).", "Length processed: 9 samples 0.045 seconds.", ""], facts=BARE)
setting("more: comment of device and rate", ["#Bench recorder", "#Serial: 1", "#Date Time: 2031-05-06 07:08:09", "#Sample rate: {HZ}Hz", "#Samples: 9", "", "Time (s),Channel 1 (V)"],
        lambda t, v, k: f"{t:.8f},{v:.5f}", facts=VOLTS | dict(channel="Channel 1"))
table("more: a matrix of a numeric program", ["# Created by a bench", "# name: capture", "# type: matrix", "# rows: 9", "# columns: 2"], lambda t, v, k: f" {t:.8f} {v:.5f}", facts=BARE)
table("more: an index without a title", [",time,volt"], lambda t, v, k: f"{k},{t:.8f},{v:.5f}")
table("more: an index in quotes", ['"","t","v"'], lambda t, v, k: f'"{k + 1}",{t:.8f},{v:.5f}', facts=VOLTS | dict(channel="v"))
table("more: decimal commas in quotes between commas", ["Time (s),CH1 (V)"], lambda t, v, k: f'"{t:.8f}","{v:.5f}"'.replace(".", ","))
table("more: infinite values", ["Time,Channel A", "(ms),(V)", ""], lambda t, v, k: f"{t * 1e3:.6f},{'-∞' if k == 99 else '∞' if k == 5 else f'{v:.5f}'}")
table("more: a simulator's node", ["time\tV(coil)"], lambda t, v, k: f"{t:.15e}\t{v:.6e}", facts=BARE)
table("more: units in the second line, a name for each in the first", ["t;CH1;CH2", "s;V;V"], lambda t, v, k: f"{t:.8f};{v:.5f};0.001", facts=TWO)
table("more: C1 in V", ["in s,C1 in V"], lambda t, v, k: f"{t:.8f},{v:.5f}", facts=VOLTS | dict(channel="C1"))
table("more: milliseconds in words", ["Time (milliseconds),Voltage (volts)"], lambda t, v, k: f"{t * 1e3:.6f},{v:.5f}")
table("more: two blanks and a tab between", ["Time(us)  \tCH1(mV)"], lambda t, v, k: f"{t * 1e6:.2f}  \t{v * 1e3:.2f}", facts=TWO)
table("more: five channels, the tag in the last", ["Time (s),CH1 (V),CH2 (V),CH3 (V),CH4 (V),MATH (V)"], lambda t, v, k: f"{t:.8f},0.1,-0.2,{k % 2 * 0.04:.3f},0.3,{v:.5f}", facts=VOLTS | dict(channel="MATH"))
table("more: time, then counts of a converter", ["time_us,adc_counts"], lambda t, v, k: f"{t * 1e6:.2f},{2048 + round(v * 900)}", facts=BARE | dict(amplitude=900 * AMPLITUDE_V))
table("more: morning and afternoon", ["Time;CH1 (V)"], lambda t, v, k: f"{moment(t, '%m/%d/%Y %I:%M:%S.FFF %p')};{v:.5f}", facts=TWO)
table("more: month in letters", ["Time,CH1 (V)"], lambda t, v, k: f"{moment(t, '%d-%b-%Y %H:%M:%S.FFF')},{v:.5f}", facts=TWO)
table("more: seconds and fractions apart by a colon", ["Clock,CH1 (V)"], lambda t, v, k: f"{moment(t, '%H:%M:%S:FFF')},{v:.5f}", facts=TWO)
table("more: page feeds and a title over all", ["Report of a bench", "\f", "Time (s)\tCH1 (V)"], lambda t, v, k: f"{t:.8f}\t{v:.5f}")
table("more: full scale", ["time_s,signal_fs"], lambda t, v, k: f"{t:.8f},{v / FULL_V:.6f}", facts=SCALED)
table("more: closing words with numbers", ["Time (s),CH1 (V)"], lambda t, v, k: f"{t:.8f},{v:.5f}", tail=["", "Samples: 22500", "End of file"])


@shape("more: edges with time stamps")
def _(own, path):
    start, times, states = edges(own)
    put(path, ["Timestamp,pin", f"{moment(0, '%Y-%m-%dT%H:%M:%S.FFF+00:00', 9)},{start}", *(f"{moment(t, '%Y-%m-%dT%H:%M:%S.FFF+00:00', 9)},{s}" for t, s in zip(times, states))])
    return LOGIC


@shape("more: edges in words")
def _(own, path):
    start, times, states = edges(own)
    put(path, ["Time (us),pin", f"0.000,{'HIGH' if start else 'LOW'}", *(f"{t * 1e6:.3f},{'HIGH' if s else 'LOW'}" for t, s in zip(times, states))])
    return LOGIC


@shape("more: states as 3.3 V and nought")
def _(own, path):
    start, times, _ = edges(own)
    level = (start + np.searchsorted(times, np.arange(50_000) / 500e3, side="right")) % 2
    put(path, ["Time (s),pin (V)", *(f"{k / 500e3:.6f},{3.3 * a:.1f}" for k, a in enumerate(level))])
    return LOGIC | dict(rate_hz=500e3)


@shape("more: NPY of states, the rate given")
def _(own, path):
    start, times, _ = edges(own)
    level = (start + np.searchsorted(times, np.arange(50_000) / 500e3, side="right")) % 2
    with open(path, "wb") as out:
        np.save(out, level.astype(bool))
    return LOGIC | dict(rate_hz=500e3, arguments=("--rate", "500000"))


@shape("more: WAV with cues, junk and tags")
def _(own, path):
    path.write_bytes(wave(chunk(b"JUNK", bytes(28)), chunk(b"fmt ", form(1, 1, own.rate_hz, 16)), chunk(b"cue ", bytes(28)), chunk(b"data", int_bytes(codes(own, 16), 2)), chunk(b"id3 ", b"ID3\3" + bytes(30))))
    return SCALED


@shape("more: WAV, lengths of nought", rate_hz=500e3)
def _(own, path):
    path.write_bytes(wave(chunk(b"fmt ", form(1, 1, own.rate_hz, 16)), b"data" + bytes(4) + int_bytes(codes(own, 16), 2), total=0))
    return SCALED


@shape("more: NPY of 32-bit integers, two columns")
def _(own, path):
    with open(path, "wb") as out:
        np.save(out, np.stack((0 * codes(own, 32), codes(own, 32)), axis=1).astype("<i4"))
    return SCALED | RATED | dict(channel="2")


@shape("more: I and Q in columns, the centre given", **IQ)
def _(own, path):
    put(path, ["Time (s),I (V),Q (V)", *(f"{t:.9f},{v.real:.5f},{v.imag:.5f}" for t, v in zip(own.times, own.volts))])
    return VOLTS | dict(kind="iq", arguments=("--centre", "140000"))

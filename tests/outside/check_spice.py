"""Circuit model against ngspice.

Writes a deck for each bench below (tests/outside/spice/*.cir), runs it with `ngspice -b`, mixes the antenna voltage down to one
complex phasor a field cycle and compares with the frozen tracks in tests/fixtures/spice_*.json, which `cargo test --test spice`
compares with the program's own circuit model. Shows that the time step is fine enough: halving it changes the ripple depth by less than
0.5 %.

    python check_spice.py            run all decks, check them against the frozen tracks
    python check_spice.py --freeze   write the frozen tracks anew

Needs ngspice, numpy and scipy. Takes about two minutes.
"""

import json
import pathlib
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from scipy.interpolate import CubicSpline

HERE = pathlib.Path(__file__).resolve().parent
DECKS = HERE / "spice"
FIXTURES = HERE.parent / "fixtures"
FIELD_HZ = 134_200.0
POINTS = 64          # samples a field cycle that are mixed down
STEPS = 400          # ngspice's longest step is this part of a field cycle (18.6 ns)
RING_UP = 64         # field cycles from field on to the first switching
HALF_BITS = "101001011010"  # closed and open, 16 field cycles each
RING_DOWN = 24       # field cycles after the field ends


def capacitance(inductance_h, tuned_hz):
    return float(1.0 / ((2 * np.pi * tuned_hz) ** 2 * inductance_h))


def bench(name, k=0.01, q1=20.0, q2=30.0, tuned1=FIELD_HZ, tuned2=FIELD_HZ, field=FIELD_HZ, modulator=("R", 500.0),
          topology="series", second=None, clamp=None):
    """Everything in SI units; half of the reader's series loss is in the driver, half of the tag's in the chip."""
    l1, l2 = 0.55e-3, 2.4e-3
    x1, x2 = 2 * np.pi * FIELD_HZ * l1, 2 * np.pi * FIELD_HZ * l2
    reader = dict(frequency_hz=field, drive_v=5.0, topology=topology, inductance_h=l1, capacitance_f=capacitance(l1, tuned1))
    if topology == "series":
        reader.update(source_ohm=x1 / q1 / 2, coil_ohm=x1 / q1 / 2)
    else:
        reader.update(source_ohm=2 * x1 * q1, coil_ohm=x1 / q1 / 2)
    tag = dict(inductance_h=l2, capacitance_f=capacitance(l2, tuned2), coil_ohm=x2 / q2 / 2, chip_ohm=2 * x2 * q2)
    tag["modulator"] = dict(kind=modulator[0], ohm=modulator[1], farad=modulator[2] if len(modulator) > 2 else 0.0)
    tag["clamp"] = clamp and dict(voltage_v=clamp[0], slope_ohm=clamp[1])
    out = dict(name=name, reader=reader, tag=tag, mutual_h=float(k * np.sqrt(l1 * l2)))
    if second:
        x = 2 * np.pi * second["field"] * l1
        out["second"] = dict(
            frequency_hz=second["field"], drive_v=second["drive_v"], topology="series", inductance_h=l1,
            capacitance_f=capacitance(l1, second["field"]), source_ohm=x / 30, coil_ohm=x / 30)
        out["second_mutual_h"] = [second["k_reader"] * l1, second["k_tag"] * np.sqrt(l1 * l2)]
    cycle = 1.0 / field
    states = "0" + HALF_BITS
    out["edges"] = [[(RING_UP + 16 * i) * cycle, int(b)] for i, (a, b) in enumerate(zip(states, states[1:])) if a != b]
    out["field_off_s"] = (RING_UP + 16 * len(HALF_BITS)) * cycle
    out["cycles"] = RING_UP + 16 * len(HALF_BITS) + RING_DOWN
    return out


BENCHES = [
    bench("aligned"),
    bench("weak_coupling", k=1e-3),
    bench("reader_tuned_high", tuned1=138_000.0),
    bench("reader_tuned_low", tuned1=130_500.0),
    bench("tag_tuned_high", tuned2=138_500.0),
    bench("tag_tuned_low", tuned2=130_000.0),
    bench("high_q", q1=60.0, q2=40.0, k=0.005),
    bench("low_q", q1=8.0, q2=10.0, k=0.03),
    bench("field_900_hz_off", field=FIELD_HZ + 900.0, q1=40.0),
    bench("second_reader", second=dict(field=128_000.0, drive_v=2.0, k_reader=0.01, k_tag=0.01)),
    bench("clamp_active", k=0.02, clamp=(15.0, 200.0), modulator=("R", 1000.0)),
    bench("switched_capacitor", modulator=("C", 1500.0, 80e-12), tuned2=136_000.0),
    bench("parallel_reader", topology="parallel", k=0.02),
]


def reader_lines(number, parts, off_s):
    """One reader; its antenna terminal is node a<number>."""
    gate = f"PWL(0 1 {off_s:.12e} 1 {off_s + 1e-9:.12e} 0)" if off_s else "1"
    lines = [
        f"Vtone{number} tone{number} 0 SIN(0 {parts['drive_v']!r} {parts['frequency_hz']!r} 0 0 90)",
        f"Vgate{number} gate{number} 0 {gate}",
        f"Bdrive{number} d{number} 0 V=V(tone{number})*V(gate{number})",
        f"Rcoil{number} a{number} c{number} {parts['coil_ohm']!r}",
        f"L{number} c{number} 0 {parts['inductance_h']!r}",
    ]
    if parts["topology"] == "series":
        return lines + [f"Rsource{number} d{number} s{number} {parts['source_ohm']!r}",
                        f"C{number} s{number} a{number} {parts['capacitance_f']!r}"]
    return lines + [f"Rsource{number} d{number} a{number} {parts['source_ohm']!r}",
                    f"C{number} a{number} 0 {parts['capacitance_f']!r}"]


def deck(parts, steps, output, idle=False):
    tag, cycle = parts["tag"], 1.0 / parts["reader"]["frequency_hz"]
    control = ["0 0"]
    for at, closed in parts["edges"]:
        control.append(f"{at - 0.5e-9:.12e} {1 - closed} {at + 0.5e-9:.12e} {closed}")
    lines = [f"* {parts['name']}: written by check_spice.py"] + reader_lines(1, parts["reader"], parts["field_off_s"])
    lines += [
        f"L9 t 0 {tag['inductance_h']!r}",
        f"Rtag t v {tag['coil_ohm']!r}",
        f"Ctag v 0 {tag['capacitance_f']!r}",
        f"Rchip v 0 {tag['chip_ohm']!r}",
        f"Vswitch switch 0 {'0' if idle else 'PWL(' + ' '.join(control) + ')'}",
        "Smod v m switch 0 load",
        ".model load SW(VT=0.5 VH=0 RON=1e-3 ROFF=1e12)",
    ]
    if tag["modulator"]["kind"] == "R":
        lines.append(f"Rmod m 0 {tag['modulator']['ohm']!r}")
    else:
        lines += [f"Rmod m n {tag['modulator']['ohm']!r}", f"Cmod n 0 {tag['modulator']['farad']!r}"]
    if tag["clamp"]:
        v, r = tag["clamp"]["voltage_v"], tag["clamp"]["slope_ohm"]
        lines.append(f"Bclamp v 0 I=V(v)>{v!r} ? (V(v)-{v!r})/{r!r} : (V(v)<-{v!r} ? (V(v)+{v!r})/{r!r} : 0)")
    couple = lambda a, b, la, lb, m: f"K{a}{b} L{a} L{b} {float(m / np.sqrt(la * lb))!r}"
    l1 = parts["reader"]["inductance_h"]
    lines.append(couple(1, 9, l1, tag["inductance_h"], parts["mutual_h"]))
    if "second" in parts:
        lines += reader_lines(2, parts["second"], None)
        l2 = parts["second"]["inductance_h"]
        lines.append(couple(1, 2, l1, l2, parts["second_mutual_h"][0]))
        lines.append(couple(2, 9, l2, tag["inductance_h"], parts["second_mutual_h"][1]))
    end = parts["cycles"] * cycle
    lines += [
        ".options method=trap reltol=1e-5 abstol=1e-12 vntol=1e-9 chgtol=1e-18",
        f".tran {cycle / steps:.12e} {end + cycle / 10:.12e} 0 {cycle / steps:.12e} uic",
        ".control", "set numdgt=14", "set wr_singlescale", "run", f"wrdata {output} v(a1) v(v)", ".endc", ".end", "",
    ]
    return "\n".join(lines)


def waveform(parts, steps, idle=False, keep=False):
    """The antenna voltage, POINTS samples a field cycle."""
    cycle = 1.0 / parts["reader"]["frequency_hz"]
    with tempfile.TemporaryDirectory() as folder:
        text = deck(parts, steps, "out.txt", idle)
        path = pathlib.Path(folder) / "deck.cir"
        path.write_text(text)
        if keep:
            DECKS.mkdir(exist_ok=True)
            (DECKS / f"{parts['name']}.cir").write_text(text)
        done = subprocess.run(["ngspice", "-b", "deck.cir"], cwd=folder, capture_output=True, text=True)
        out = pathlib.Path(folder) / "out.txt"
        if not out.exists():
            raise RuntimeError(f"{parts['name']}: ngspice wrote nothing\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}")
        data = np.loadtxt(out)
    time, antenna = data[:, 0], data[:, 1]
    # The two points about a switching are 1 ns apart; repeated times would break the spline.
    keep_points = np.concatenate([[True], np.diff(time) > 1e-13])
    at = np.arange(parts["cycles"] * POINTS) * cycle / POINTS
    return CubicSpline(time[keep_points], antenna[keep_points])(at)


def phasors(parts, steps, idle=False, keep=False):
    """One complex phasor a field cycle of the antenna voltage: mean of 2·v·exp(-jωt) over the cycle."""
    values = waveform(parts, steps, idle, keep)
    turn = np.exp(-2j * np.pi * np.arange(POINTS) / POINTS)
    return 2.0 * (values.reshape(-1, POINTS) * turn).mean(axis=1)


def sending(track):
    return track[RING_UP + 16:RING_UP + 16 * len(HALF_BITS)]


def ripple(parts, track, idle):
    """Relative ripple while sending; a second reader's tone is removed by the run without switching."""
    field = sending(idle if idle is not None else track).mean()
    relative = (sending(track) - (sending(idle) if idle is not None else field)) / field
    relative -= relative.mean()
    depth = np.sqrt(np.mean(np.abs(relative) ** 2))
    angle = np.degrees(np.angle(np.sum(relative ** 2)) / 2)
    return field, relative, depth, angle


def one(parts):
    idle = "second" in parts
    runs = {}
    for steps in (STEPS, 2 * STEPS):
        track = phasors(parts, steps, keep=steps == STEPS)
        runs[steps] = (track, phasors(parts, steps, idle=True) if idle else None)
    return parts, runs


SIDEBAND_PERIODS = 16  # of all-0 data: 32 field cycles each
# Part of a cycle at which a load of 100 ohm switches: lower and upper sideband of all-0 data, dB below the carrier. Frozen from here; `cargo test`
# holds the program's circuit model against the same values.
SIDEBANDS = {0.0: (-70.968, -71.022), 0.125: (-70.827, -71.148), 0.25: (-70.703, -71.265), 0.375: (-70.842, -71.133)}


def sidebands(phase):
    """Lower and upper sideband of all-0 data (a switching every half bit) in dB below the carrier, at the antenna."""
    parts = bench("sidebands", k=2e-3, modulator=("R", 100.0))
    cycle, lead = 1.0 / FIELD_HZ, 8
    half_bits = lead + 2 * SIDEBAND_PERIODS
    parts["edges"] = [[(RING_UP + 16 * i + phase) * cycle, 1 - i % 2] for i in range(half_bits)]
    parts["cycles"] = RING_UP + 16 * half_bits
    parts["field_off_s"] = 2 * parts["cycles"] * cycle
    # Lines of the waveform itself over whole periods: phasors averaged over a cycle keep 1.5 % of the other sideband.
    values = waveform(parts, STEPS)[POINTS * (RING_UP + 16 * lead):]
    turns = np.arange(values.size) / POINTS
    level = lambda side: abs(np.mean(values * np.exp(-2j * np.pi * (1 + side / 32) * turns)))
    return [float(20 * np.log10(level(side) / level(0))) for side in (-1, 1)]


def check_sidebands(pool):
    """Levels at each phase against the frozen ones, and their range; how many are off by more than 0.02 dB."""
    rows = list(pool.map(sidebands, SIDEBANDS))
    for side, name in enumerate(("130.006", "138.394")):
        levels = [row[side] for row in rows]
        print(f"sideband at {name} kHz: {min(levels):.2f} to {max(levels):.2f} dB over the phase of switching")
    return int(np.sum(np.abs(np.array(rows) - list(SIDEBANDS.values())) > 0.02))


def main():
    if shutil.which("ngspice") is None:
        print("ngspice is not installed: nothing checked")
        return 1
    freeze = "--freeze" in sys.argv[1:]
    failures = 0
    print(f"{'deck':20} {'|A0| V':>9} {'depth':>10} {'angle':>8} {'depth, step halved':>19} {'against frozen track':>21}")
    with ThreadPoolExecutor(2) as pool:
        for parts, runs in pool.map(one, BENCHES):
            fine, fine_idle = runs[2 * STEPS]
            field, relative, depth, angle = ripple(parts, fine, fine_idle)
            coarse_depth = ripple(parts, *runs[STEPS])[2]
            change = abs(coarse_depth / depth - 1)
            path = FIXTURES / f"spice_{parts['name']}.json"
            if freeze:
                pair = lambda track: [[float(f"{z.real:.9g}"), float(f"{z.imag:.9g}")] for z in track]
                frozen = dict(parts, made_by="tests/outside/check_spice.py --freeze", ring_up_cycles=RING_UP,
                              sending_cycles=16 * len(HALF_BITS), track=pair(fine),
                              idle=None if fine_idle is None else pair(fine_idle))
                path.write_text(json.dumps(frozen, separators=(",", ":"), default=float) + "\n")
            frozen = json.loads(path.read_text())
            complexes = lambda rows: None if rows is None else np.array(rows) @ np.array([1, 1j])
            old = ripple(parts, complexes(frozen["track"]), complexes(frozen["idle"]))
            apart = np.sqrt(np.mean(np.abs(relative - old[1]) ** 2)) / depth
            same = all(np.isclose(frozen[key], parts[key], rtol=1e-9).all() for key in ("edges", "mutual_h", "cycles"))
            good = change < 0.005 and apart < 0.01 and same and abs(abs(field) / abs(old[0]) - 1) < 1e-3
            failures += not good
            print(f"{parts['name']:20} {abs(field):9.4f} {depth:10.3e} {angle:8.2f} {100 * change:17.3f} % {100 * apart:19.3f} %"
                  f"{'' if good else '  FAILED'}")
        failures += check_sidebands(pool)
    print(f"{len(BENCHES)} decks and the sidebands of all-0 data at {len(SIDEBANDS)} phases, {failures} failed")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())

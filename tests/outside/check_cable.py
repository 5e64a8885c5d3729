"""A cable between driver and antenna, and the antenna's own capacitance, as `link` and `synth` have them, against ngspice.

- settled: ngspice's AC analysis with the cable as a ladder of 20 sections (a real line, while the program has one capacitance and one inductance):
  voltage at the cable's near end and the antenna's current, series and parallel resonance, tuned with the cable and without, 2 %;
- ringing up: a transient of 1000 steps a cycle against the samples of `synth`, cycle by cycle, 2 % of the settled voltage;
- a tag: its voltage and the settled ripple with the load open and closed, AC;
- what cannot be tuned is refused in one line; the range of Medhurst's table: his formula (from memory) to 10 %.
"""

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from check_link import F, W, link, ripple, run, samples
from report import Checks

SECTIONS = 20


def spice(folder, lines, control):
    path = Path(folder) / "deck.cir"
    (Path(folder) / "out.txt").unlink(missing_ok=True)
    path.write_text("\n".join(["* cable", *lines, ".control", "set wr_singlescale", "set numdgt=12", *control, "quit", ".endc", ".end", ""]))
    out = subprocess.run(["ngspice", "-b", path.name], cwd=folder, capture_output=True, text=True)
    if out.returncode not in (0, 1):
        raise SystemExit(out.stderr)
    return np.loadtxt(Path(folder) / "out.txt")


def ladder(first, last, length, pf, nh):
    """A line of sections between two nodes, half a capacitance at each end."""
    lines, at = [], first
    for n in range(SECTIONS):
        to = last if n == SECTIONS - 1 else f"line{n}"
        share = length / SECTIONS
        lines += [f"Ca{n} {at} 0 {pf * share / 2:.6e}p", f"Lc{n} {at} {to} {nh * share:.6e}n", f"Cb{n} {to} 0 {pf * share / 2:.6e}p"]
        at = to
    return lines


def antenna(reader, topology, source, cable, own_pf, drive):
    """Source, capacitor, cable, antenna at node a; `reader` as link states it."""
    length, pf, nh = cable
    coil_h = reader["inductance_h"] - length * nh * 1e-9
    lines = [drive, f"Rs d s {source!r}"]
    lines += [f"C1 s k {reader['capacitance_f']!r}"] if topology == "series" else [f"C1 k 0 {reader['capacitance_f']!r}", "Rk s k 1e-6"]
    lines += ladder("k", "a", length, pf, nh) if length else ["Rl k a 1e-6"]
    lines += [f"Co a 0 {own_pf}p"] if own_pf else []
    return lines + [f"Rc a c {reader['coil_ohm']!r}", f"L1 c 0 {coil_h!r}"]


CASES = [
    ("series", 20.0, (5.0, 100.0, 250.0), 0.0, True),
    ("series", 20.0, (5.0, 100.0, 250.0), 0.0, False),
    ("series", 8.0, (2.0, 67.0, 370.0), 120.0, True),
    ("series", 50.0, (0.0, 0.0, 0.0), 300.0, False),
    ("series", 20.0, (15.0, 50.0, 600.0), 0.0, True),
    ("parallel", 5000.0, (5.0, 100.0, 250.0), 80.0, True),
    ("parallel", 3000.0, (10.0, 60.0, 600.0), 0.0, False),
]


def keys(case):
    topology, source, (length, pf, nh), own, tuned = case
    settings = {"reader.topology": topology, "reader.source_ohm": source, "reader.self_capacitance_pf": own}
    if length:
        settings |= {"reader.cable.length_m": length, "reader.cable.pf_per_m": pf, "reader.cable.nh_per_m": nh}
    if not tuned:
        settings["reader.capacitance_pf"] = 2369.0
    return settings


def settled(checks, folder):
    for case in CASES:
        topology, source, cable, own, _ = case
        report = link(keys(case), "--distance", "3000", "--tilt", "0")
        reader = report["reader"]
        lines = antenna(reader, topology, source, cable, own, "V1 d 0 AC 8")
        out = spice(folder, lines, [f"ac lin 1 {F} {F}", "wrdata out.txt v(k) i(L1)"]).ravel()
        volts, ampere = np.hypot(out[1], out[2]), np.hypot(out[3], out[4])
        checks.near(reader["antenna_v"], volts, 0.02 * volts, f"{case}: voltage at the near end")
        checks.near(reader["antenna_a"], ampere, 0.02 * ampere, f"{case}: antenna's current")
        across = (cable[0] * cable[1] + own) * 1e-12
        checks.near(reader["across_f"], across, 1e-6 * across, f"{case}: across the antenna")
        total = reader["capacitance_f"] + across
        resonance = 1 / (2 * np.pi * np.sqrt(reader["inductance_h"] * total))
        checks.near(reader["resonance_hz"], resonance, 1e-6 * resonance, f"{case}: resonance")


def with_a_tag(checks, folder):
    for case in (CASES[0], CASES[2], CASES[5]):
        topology, source, cable, own, _ = case
        report = link(keys(case), "--distance", "60", "--tilt", "0")
        reader, tag, place = report["reader"], report["tag"], report["positions"][0]
        lines = antenna(reader, topology, source, cable, own, "V1 d 0 AC 8")
        coil_h = reader["inductance_h"] - cable[0] * cable[2] * 1e-9
        lines += [f"L9 t 0 {tag['inductance_h']!r}", f"Rt t v {float(W * tag['inductance_h'] / 30)!r}", f"Ct v 0 {tag['capacitance_f']!r}", "Rchip v 0 100k",
                  f"K1 L1 L9 {float(place['mutual_h'] / np.sqrt(coil_h * tag['inductance_h']))!r}"]
        states = []
        for load in ([], ["Rm v 0 4k"]):
            out = spice(folder, lines + load, [f"ac lin 1 {F} {F}", "wrdata out.txt v(k) v(v)"]).ravel()
            states.append((out[1] + 1j * out[2], np.hypot(out[3], out[4])))
        _, depth, angle = ripple(states[0][0], states[1][0])
        checks.near(place["tag_v"], states[0][1], 0.02 * states[0][1], f"{case}: tag's voltage")
        checks.near(place["settled_depth"], depth, 0.02 * depth, f"{case}: settled depth")
        checks.near(place["settled_angle_deg"], angle, 1.0, f"{case}: settled angle")


def ringing_up(checks, folder):
    for case in (CASES[0], CASES[2], CASES[5]):
        topology, source, cable, own, _ = case
        settings = {**keys(case), "reader.on_before_ms": 0, "digitiser.rate_hz": 2e6, "noise.white_nv_per_rthz": 0, "probe.divider": 1, "duration_s": 0.001,
                    "tag.1.distance_mm": 3000}
        reader = link(keys(case), "--distance", "3000", "--tilt", "0")["reader"]
        flags = [word for key, value in settings.items() for word in ("--set", f"{key}={value}")]
        out = run("synth", "up.wav", *flags, folder=folder)
        if not checks.that(out.returncode == 0, out.stderr):
            continue
        truth = json.load(open(os.path.join(folder, "up.wav.truth.json")))
        mine = samples(os.path.join(folder, "up.wav")) * truth["capture"]["range_v"]
        lines = antenna(reader, topology, source, cable, own, f"V1 d 0 SIN(0 8 {F} 0 0 90)")
        step = 1 / F / 1000
        out = spice(folder, lines, [f"tran {1 / 2e6!r} {0.0006!r} 0 {step!r} uic", "linearize v(k)", "wrdata out.txt v(k)"])
        theirs = np.interp(np.arange(1100) / 2e6, out[:, 0], out[:, 1])
        height = [cycle_peaks(x[:1100]) for x in (mine, theirs)]
        worst = np.abs(height[0] - height[1]).max() / height[1].max()
        print(f"{case}: rings up {100 * worst:.2f} % of the settled voltage apart at most", flush=True)
        checks.that(worst < 0.02, f"{case}: ringing up, {100 * worst:.2f} % apart")


def cycle_peaks(volts):
    """Magnitude of the field's phasor over each two cycles (two megasamples a second: 29.8 samples)."""
    at = np.arange(len(volts)) / 2e6
    mixed = volts * np.exp(-1j * W * at)
    size = 30
    return np.array([2 * abs(mixed[k : k + size].mean()) for k in range(0, len(volts) - size, size)])


def refusals(checks):
    for more, word in (
        ({"reader.cable.length_m": 20, "reader.cable.pf_per_m": 300}, "pF"),
        ({"reader.cable.length_m": 200}, "length_m"),
        ({"reader.self_capacitance_pf": -1}, "self_capacitance_pf"),
        ({"reader.cable.pf_per_m": 0}, "pf_per_m"),
    ):
        flags = [word for key, value in more.items() for word in ("--set", f"{key}={value}")]
        out = run("link", *flags)
        checks.that(out.returncode == 2 and out.stderr.count("\n") == 1 and word in out.stderr, f"{more}: {out.returncode} {out.stderr!r}")
    for turns in (20, 60, 200):
        coil = {"reader.coil.turns": turns, "reader.coil.layers": 1, "reader.coil.radius_mm": 20}
        own = link(coil, "--distance", "50")["reader"]["own_capacitance_f"]
        ratio = turns * 0.33 / 40
        want = (0.1126 * ratio + 0.08 + 0.27 / np.sqrt(ratio)) * 4e-12
        checks.near(own, want, 0.1 * want, f"{turns} turns in one layer: own capacitance")
    checks.that(link({}, "--distance", "50")["reader"]["own_capacitance_f"] is None, "three layers: not known")


def main():
    checks = Checks()
    with tempfile.TemporaryDirectory(prefix="ripple-") as folder:
        settled(checks, folder)
        with_a_tag(checks, folder)
        ringing_up(checks, folder)
    refusals(checks)
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

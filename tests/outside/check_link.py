"""What `fieldripple link` says about a bench, against integrals, nodal analysis and captures worked out here.

- mutual inductance, coupling, tag voltage, settled depth and angle: field of the turns by a sum over straight segments (Biot–Savart),
  flux through the tag's rod by Simpson's rule, circuits by complex nodal equations; with offsets along x and y, tilt and bearing;
- a second antenna: passive beside the first, and driven at the same frequency; also against the samples that `synth` makes;
- field and limits: no tag near, whatever positions are asked for and in whatever order; 377 Ω times the field of a loop at 300 m;
- a switched field: what `link` says is read, `decode` reads, and what it says is too short, `decode` does not read;
- every usual tag has a clamp, and the default bench reads its default tag.

2 % each unless a line says otherwise.
"""

import json
import os
import subprocess
import sys
import tempfile
import wave

import numpy as np

from report import Checks

PROGRAM = os.path.abspath(os.environ.get("FIELDRIPPLE", "target/release/fieldripple"))
MU_0 = 4e-7 * np.pi
F = 134_200.0
W = 2 * np.pi * F


def run(*words, folder=None):
    return subprocess.run([PROGRAM, *words], capture_output=True, text=True, cwd=folder)


def link(settings, *words):
    flags = [word for key, value in settings.items() for word in ("--set", f"{key}={value}")]
    out = run("link", "--json", *flags, *words)
    if out.returncode:
        raise SystemExit(out.stderr)
    return json.loads(out.stdout)


def turns_of(coil):
    """Turns as polygons of points (segments, 3), the coil's middle at the origin."""
    columns = -(-coil["turns"] // coil["layers"])
    pitch = coil.get("pitch_mm", 1.1 * coil["wire_mm"]) * 1e-3
    layer_pitch = coil.get("layer_pitch_mm", 1.1 * coil["wire_mm"]) * 1e-3
    loops = []
    for index in range(coil["turns"]):
        layer, column = divmod(index, columns)
        grown = (layer - (coil["layers"] - 1) / 2) * layer_pitch
        z = (column - (columns - 1) / 2) * pitch
        if coil.get("shape") == "rectangle":
            x, y = coil["width_mm"] / 2e3 + grown, coil["height_mm"] / 2e3 + grown
            points = np.array([(-x, -y), (x, -y), (x, y), (-x, y), (-x, -y)])
        else:
            angle = np.linspace(0, 2 * np.pi, 721)
            # A polygon of the circle's area.
            r = (coil["radius_mm"] * 1e-3 + grown) * np.sqrt(np.pi / 720 / (np.sin(np.pi / 720) * np.cos(np.pi / 720)))
            points = np.stack([r * np.cos(angle), r * np.sin(angle)], 1)
        loops.append(np.column_stack([points, np.full(len(points), z)]))
    return loops


def flux_density(loops, point):
    """T per ampere, by the closed form of straight segments."""
    total = np.zeros(3)
    for loop in loops:
        a, b = point - loop[:-1], point - loop[1:]
        na, nb = np.linalg.norm(a, axis=1), np.linalg.norm(b, axis=1)
        weight = MU_0 / (4 * np.pi) * (na + nb) / (na * nb * (na * nb + np.sum(a * b, axis=1)))
        total += (np.cross(a, b) * weight[:, None]).sum(0)
    return total


def axis_of(tilt, bearing):
    t, b = np.radians([tilt, bearing])
    return np.array([np.sin(t) * np.cos(b), np.sin(t) * np.sin(b), np.cos(t)])


def mutual(loops, area, rod, place, tilt, bearing, frame=None):
    """`frame`: middle of the coil, if it is not at the origin (not turned)."""
    axis = axis_of(tilt, bearing)
    middle = np.array(place) - (0 if frame is None else np.array(frame))
    steps = np.linspace(-0.5, 0.5, 21)
    simpson = np.array([1, *([4, 2] * 9), 4, 1]) / 60
    return area * sum(w * flux_density(loops, middle + s * rod * axis) @ axis for s, w in zip(steps, simpson))


def series(readers, mutuals, tag_h, tag_z, drives):
    """Loop equations: readers in series resonance with impedance z, a tag whose tank is z2; currents."""
    n = len(readers) + 1
    z = np.zeros((n, n), complex)
    for i, reader in enumerate(readers):
        z[i, i] = reader["z"]
    z[-1, -1] = tag_z
    for (i, j), m in mutuals.items():
        z[i, j] = z[j, i] = 1j * W * m
    return np.linalg.solve(z, np.array([*drives, 0.0]))


def reader_z(report, source=20.0):
    r = report
    return dict(z=source + r["coil_ohm"] + 1j * W * r["inductance_h"] + 1 / (1j * W * r["capacitance_f"]), source=source, c=r["capacitance_f"])


def tag_states(inductance, q, capacitance, chip, modulation):
    coil = W * inductance / q + 1j * W * inductance
    tanks = [1 / (1j * W * capacitance + 1 / chip + extra) for extra in (0.0, 1 / modulation)]
    return [(coil + tank, tank) for tank in tanks]


def ripple(open_, closed):
    mean = (open_ + closed) / 2
    relative = (open_ - closed) / 2 / mean
    angle = np.degrees(np.angle(relative))
    angle -= 180 * round(angle / 180)
    return abs(mean), abs(relative), angle


def places(checks):
    """One antenna, a rectangle and a circle, tag anywhere."""
    rng = np.random.default_rng(18)
    for shape in ("circle", "rectangle", "circle", "rectangle"):
        coil = dict(turns=20, layers=2, wire_mm=0.4, shape=shape, radius_mm=80, width_mm=180, height_mm=110)
        settings = {f"reader.coil.{key}": value for key, value in coil.items()}
        d, x, y = rng.uniform(40, 150), rng.uniform(-60, 60), rng.uniform(-60, 60)
        tilt, bearing = rng.uniform(-80, 80), rng.uniform(-180, 180)
        report = link(settings, f"--distance={d}", f"--offset={x}", f"--offset-y={y}", f"--tilt={tilt}", f"--bearing={bearing}")
        got = report["positions"][0]
        loops = turns_of(coil)
        m = mutual(loops, 100e-4, 10e-3, [-x * 1e-3, y * 1e-3, d * 1e-3], tilt, bearing)
        what = f"{shape}, {d:.0f} mm, offset {x:.0f}/{y:.0f} mm, tilt {tilt:.0f}°, bearing {bearing:.0f}°"
        checks.near(got["mutual_h"], m, 0.02 * abs(m), f"{what}: M")
        reader = reader_z(report["reader"])
        states = []
        for z2, tank in tag_states(5e-3, 30, report["tag"]["capacitance_f"], 100e3, 4e3):
            i = series([reader], {(0, 1): m}, 5e-3, z2, [8.0])
            states.append((8.0 - i[0] * (20 + 1 / (1j * W * reader["c"])), abs(i[-1] * tank)))
        _, depth, angle = ripple(states[0][0], states[1][0])
        checks.near(got["tag_v"], states[0][1], 0.02 * states[0][1], f"{what}: tag voltage")
        checks.near(got["settled_depth"], depth, 0.04 * depth, f"{what}: settled depth (M enters twice)")
        checks.near(got["settled_angle_deg"], angle, 1.0, f"{what}: settled angle")
        flux = np.linalg.norm(flux_density(loops, np.array([-x, y, d]) * 1e-3))
        idle = 8.0 / abs(reader["z"])
        want = flux * idle / np.sqrt(2) * 1e6
        checks.near(got["field_ut_rms"], want, 0.02 * want, f"{what}: field without a tag")
    # The sign that the help text states: beside the axis a positive tilt couples less.
    report = link({}, "--distance", "60", "--offset", "40", "--tilt=-30,30")
    less, more = (next(abs(p["mutual_h"]) for p in report["positions"] if p["tilt_deg"] == tilt) for tilt in (30, -30))
    checks.that(less < more, f"tilt against the spread of the field couples less: {less} {more}")


def second_antenna(checks, folder):
    coil = dict(turns=45, layers=3, wire_mm=0.3, radius_mm=60)
    loops = turns_of(coil)
    for field, drive, phase in ((134250.0, 8.0, 0.0), (134200.0, 6.0, 0.0), (134200.0, 8.0, 180.0)):
        together = field == F
        settings = {"second_reader.field_hz": field, "second_reader.drive_v": drive, "second_reader.drive_phase_deg": phase,
                    "second_reader.distance_mm": 150, "second_reader.tuned_hz": 134200}
        report = link(settings, "--distance", "60", "--tilt", "0")
        got = report["positions"][0]
        alone = report["reader"]
        reader = reader_z(alone)
        # Coaxial turns of both coils: Maxwell by the vector potential round each turn of the second.
        shifted = [loop + np.array([0, 0, 0.15]) for loop in loops]
        m12 = neumann(loops, shifted)
        m1 = mutual(loops, 100e-4, 10e-3, [0, 0, 0.06], 0, 0)
        m2 = mutual(loops, 100e-4, 10e-3, [0, 0, 0.06], 0, 0, [0, 0, 0.15])
        drives = [8.0, drive * np.exp(1j * np.radians(phase)) if together else 0.0]
        states = []
        for z2, tank in tag_states(5e-3, 30, report["tag"]["capacitance_f"], 100e3, 4e3):
            i = series([reader, reader], {(0, 1): m12, (0, 2): m1, (1, 2): m2}, 5e-3, z2, drives)
            states.append((8.0 - i[0] * (20 + 1 / (1j * W * reader["c"])), abs(i[-1] * tank)))
        level, depth, angle = ripple(states[0][0], states[1][0])
        what = f"second antenna, {field:.0f} Hz, phase {phase:.0f}°"
        checks.near(got["signal_v"], level / 10, 0.02 * level / 10, f"{what}: field at the digitiser")
        checks.near(got["tag_v"], states[0][1], 0.02 * states[0][1] + 1e-3, f"{what}: tag voltage")
        if states[0][1] > 0.1:
            checks.near(got["settled_depth"], depth, 0.04 * depth, f"{what}: settled depth")
            checks.near(got["settled_angle_deg"], angle, 1.5, f"{what}: settled angle")
        # The samples: the part at the first field's frequency, by least squares of both tones.
        flags = [word for key, value in settings.items() for word in ("--set", f"{key}={value}")]
        out = run("synth", "two.wav", "--set", "tag.1.distance_mm=60", "--set", "noise.white_nv_per_rthz=0", "--set", "duration_s=0.3", *flags, folder=folder)
        if out.returncode:
            checks.that(False, out.stderr)
            continue
        truth = json.load(open(os.path.join(folder, "two.wav.truth.json")))
        volts = samples(os.path.join(folder, "two.wav")) * truth["capture"]["range_v"]
        at = np.arange(len(volts)) / truth["capture"]["rate_hz"]
        tones = [F] if together else [F, field]
        columns = [part for hz in tones for part in (np.cos(2 * np.pi * hz * at), np.sin(2 * np.pi * hz * at))]
        fit = np.linalg.lstsq(np.column_stack(columns), volts, rcond=None)[0]
        measured = np.hypot(fit[0], fit[1])
        checks.near(truth["field"]["amplitude_v"], measured, 0.02 * measured, f"{what}: amplitude of the truth and of the samples")
        checks.near(got["signal_v"], measured, 0.02 * measured, f"{what}: amplitude of link and of the samples")


def neumann(first, second):
    """Mutual inductance of coaxial polygons: vector potential of one circle by the trapezoid rule, round the other."""
    total = 0.0
    for a in first:
        for b in second:
            ra, rb, h = np.hypot(*a[0, :2]), np.hypot(*b[0, :2]), b[0, 2] - a[0, 2]
            angle = 2 * np.pi * np.arange(720) / 720
            distance = np.sqrt(ra * ra + rb * rb - 2 * ra * rb * np.cos(angle) + h * h)
            total += MU_0 / (4 * np.pi) * ra * rb * 2 * np.pi * np.mean(np.cos(angle) / distance) * 2 * np.pi
    return total


def samples(path):
    with wave.open(path) as file:
        raw = np.frombuffer(file.readframes(file.getnframes()), "<i2")
    return raw / 32768.0


def field_and_limits(checks):
    one = link({}, "--distance", "20,200", "--tilt", "0")
    other = link({}, "--distance", "200,20", "--tilt", "0")
    checks.that(one["field"] == other["field"] and one["limits_for_comparison"] == other["limits_for_comparison"], "the order of positions does not matter")
    r = one["reader"]
    idle = 8.0 / abs(reader_z(r)["z"])
    checks.near(r["antenna_a"], idle, 1e-6 * idle, "current with no tag near")
    strongest = max(p["antenna_a"] for p in one["positions"])
    checks.that(strongest <= r["antenna_a"] * (1 + 1e-9), "tags at resonance only take away")
    coil = dict(turns=45, layers=3, wire_mm=0.3, radius_mm=60)
    area = sum(np.pi * np.hypot(*loop[0, :2]) ** 2 for loop in turns_of(coil))
    k = W / 299_792_458.0
    h = area * idle / np.sqrt(2) / (2 * np.pi * 300**3) * np.sqrt(1 + (k * 300) ** 2)
    got = next(limit for limit in one["limits_for_comparison"] if "15.209" in limit["name"])["computed_uv_per_m"]
    checks.near(got, 377 * h * 1e6, 0.02 * 377 * h * 1e6, "377 Ω times the field of a loop at 300 m (from memory)")
    on_axis = flux_density(turns_of(coil), np.array([0, 0, 1.0]))[2] * idle / np.sqrt(2) * 1e6
    got = next(f["ut_rms"] for f in one["field"] if f["at_m"] == 1)
    checks.near(got, on_axis, 0.02 * on_axis, "field at 1 m")


def switched(checks, folder):
    for on, off, want in ((5, 5, False), (20, 5, False), (27, 5, True), (35, 5, True), (50, 3, True)):
        settings = {"reader.on_ms": on, "reader.off_ms": off, "noise.white_nv_per_rthz": 200, "duration_s": 0.5}
        reads = link(settings, "--distance", "60", "--tilt", "0")["positions"][0]["reads"]
        flags = [word for key, value in settings.items() for word in ("--set", f"{key}={value}")]
        out = run("synth", "pulsed.wav", "--set", "tag.1.distance_mm=60", *flags, folder=folder)
        checks.that(out.returncode == 0, out.stderr)
        read = run("decode", "pulsed.wav", folder=folder).returncode == 0
        checks.that(reads == want and read == want, f"field {on} ms on, {off} ms off: link says {reads}, decode {read}")


def usual_tags(checks):
    bench = link({}, "--distance", "80", "--tilt", "0")["positions"][0]
    checks.that(bench["reads"] and bench["tag_v"] > 1.05 * 3, f"the default bench reads its default tag with 5 % to spare: {bench['tag_v']:.2f} V of 3 V")
    names = [line.split()[0] for line in run("link", "--tags").stdout.splitlines() if line and line[0].isalpha() and "  " in line]
    checks.that(len(names) >= 7, f"usual tags: {names}")
    for name in names:
        report = link({}, "--tag", name, "--distance", "5,40", "--tilt", "0")
        near, usual = report["positions"]
        checks.that(usual["reads"], f"{name} is read at 40 mm: {usual['tag_v']:.2f} V")
        checks.that(near["tag_v"] < 40, f"{name} is clamped at 5 mm: {near['tag_v']:.1f} V")
    checks.that(not link({}, "--tag", "glass-12", "--distance", "5", "--tilt", "0")["remarks"], "no remark with a clamp")
    loud = link({"reader.drive_v": 160}, "--distance", "5", "--tilt", "0")
    checks.that(any("clamp" in remark for remark in loud["remarks"]), "a remark on hundreds of volts at a tag without one")


def main():
    checks = Checks()
    with tempfile.TemporaryDirectory() as folder:
        places(checks)
        second_antenna(checks, folder)
        field_and_limits(checks)
        if "--no-decode" not in sys.argv:
            switched(checks, folder)
        usual_tags(checks)
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

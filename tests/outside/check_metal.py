"""What `fieldripple link` says of a metal sheet beside the antenna, against the exact integrals for a coil above a conducting plate.

- circular coils: Dodd & Deeds, J. Appl. Phys. 39 (1968) 2829: every Bessel component of the coil's field is reflected by the sheet. Its reflection is
  solved here from the four conditions at the two faces (tangential H and normal B), for any thickness, conductivity and permeability.
  Inductance, resistance, and M with a tag's rod anywhere before the sheet (Simpson's rule along it);
- rectangular coils: thick copper, so that the sheet is a mirror at half a skin depth below its face; field of the mirrored turns by Biot-Savart;
- what the antenna's current becomes: nodal equations; tuned before and tuned beside the sheet;
- what is refused is refused in one line.

2 % each. The change of an inductance, being a difference, is held to 2 % of itself; M with a tag, a sum that may cancel, also to 0.1 % of its parts. The images
may be 0.5 % off where the field is strongest (`MOST_MISFIT`), of a current at most the share |z of the sheet|/|Z of the loop| of it: below 1 where the
antenna was tuned before (checked below); tuned beside the sheet the inductance cancels.
"""

import sys

import numpy as np
from scipy.special import j0, j1

from check_link import F, MU_0, W, axis_of, flux_density, link, run, turns_of
from report import Checks

# at_mm, thickness_mm, MS/m, permeability
SHEETS = {
    "aluminium 2 mm": (2.0, 35.0, 1.0),
    "copper foil 35 um": (0.035, 58.0, 1.0),
    "stainless 1 mm": (1.0, 1.4, 1.0),
    "steel 1.5 mm": (1.5, 6.0, 150.0),
    "foil 10 um": (0.01, 35.0, 1.0),
}


def reflection(k, thickness, sigma, mu):
    """Of the azimuthal vector potential exp(+kz) coming from below a plate 0 <= z <= t: amplitude of exp(-kz) ... by the faces' conditions."""
    out = np.empty(len(k), complex)
    for i, k_ in enumerate(k):
        a = np.sqrt(k_**2 + 1j * W * MU_0 * mu * sigma)
        # Unknowns: reflected r, two waves in the plate (each 1 at its own face), transmitted; the plate lies below z = 0, the coil above.
        fade = np.exp(-a * thickness)
        rows = np.array([
            [1, -1, -fade, 0],
            [-k_, -a / mu, a / mu * fade, 0],
            [0, fade, 1, -1],
            [0, a / mu * fade, -a / mu, -k_],
        ], complex)
        out[i] = np.linalg.solve(rows, [-1, -k_, 0, 0])[0]
    return out


def nodes(gap):
    """Gauss nodes over all k that reach a point `gap` from the mirrored turns."""
    x, w = np.polynomial.legendre.leggauss(24)
    edges = np.linspace(0, 40 / gap, 41)
    half = np.diff(edges) / 2
    return (edges[:-1, None] + half[:, None] * (1 + x)).ravel(), (half[:, None] * w).ravel()


class Coil:
    def __init__(self, coil, at):
        loops = turns_of({**coil, "shape": "circle"})
        self.radius = np.array([coil["radius_mm"] * 1e-3 + grown for grown in self.layers(coil)])
        self.z = np.array([loop[0, 2] for loop in loops])
        self.at = at
        self.h = np.abs(self.z - at)

    @staticmethod
    def layers(coil):
        columns = -(-coil["turns"] // coil["layers"])
        pitch = coil.get("layer_pitch_mm", 1.1 * coil["wire_mm"]) * 1e-3
        return [((i // columns) - (coil["layers"] - 1) / 2) * pitch for i in range(coil["turns"])]

    def impedance(self, sheet):
        k, w = nodes(2 * self.h.min())
        s = sum(a * j1(k * a) * np.exp(-k * h) for a, h in zip(self.radius, self.h))
        return 1j * W * np.pi * MU_0 * np.sum(w * s * s * reflection(k, *sheet))

    def reflected(self, sheet, points):
        """Flux density per ampere at points in the x-z plane or anywhere: (n, 3), complex."""
        out = np.zeros((len(points), 3), complex)
        for i, p in enumerate(points):
            reach = abs(p[2] - self.at)
            k, w = nodes(reach + self.h.min())
            rho = np.hypot(p[0], p[1])
            s = sum(a * j1(k * a) * np.exp(-k * (h + reach)) for a, h in zip(self.radius, self.h)) * reflection(k, *sheet) * w * k * MU_0 / 2
            axial, radial = np.sum(s * j0(k * rho)), np.sum(s * j1(k * rho)) * (1 if self.at < 0 else -1)
            out[i] = [radial * p[0] / rho if rho else 0, radial * p[1] / rho if rho else 0, axial]
        return out


def along_rod(point, axis, rod):
    steps = np.linspace(-0.5, 0.5, 11)
    simpson = np.array([1, *([4, 2] * 4), 4, 1]) / 30
    return [point + s * rod * axis for s in steps], simpson


def keys(coil, at_mm, thickness, sigma, mu, more=()):
    settings = {f"reader.coil.{key}": value for key, value in coil.items()}
    settings |= {"reader.metal_sheet.at_mm": at_mm, "reader.metal_sheet.thickness_mm": thickness}
    settings |= {"reader.metal_sheet.conductivity_ms_per_m": sigma, "reader.metal_sheet.permeability": mu}
    return settings | dict(more)


def free(coil):
    return link({f"reader.coil.{key}": value for key, value in coil.items()}, "--distance", "50", "--tilt", "0")["reader"]


def circles(checks):
    rng = np.random.default_rng(68)
    coils = [dict(radius_mm=60, turns=45, layers=3, wire_mm=0.3), dict(radius_mm=100, turns=20, layers=20, wire_mm=0.5), dict(radius_mm=30, turns=40, layers=1, wire_mm=0.4)]
    for number, coil in enumerate(coils):
        alone = free(coil)
        for name, (thickness, sigma, mu) in SHEETS.items():
            for at_mm in ((-12, -40, 160)[number], (-60, 250, -25)[number]):
                what = f"{coil['turns']} turns of {coil['radius_mm']} mm, {name} at {at_mm} mm"
                sheet = (thickness * 1e-3, sigma * 1e6, mu)
                place = [rng.uniform(-40, 40), rng.uniform(-30, 30), rng.uniform(40, 110)]
                tilt, bearing = rng.uniform(-70, 70), rng.uniform(-180, 180)
                report = link(keys(coil, at_mm, thickness, sigma, mu), f"--distance={place[2]}", f"--offset={-place[0]}", f"--offset-y={place[1]}", f"--tilt={tilt}", f"--bearing={bearing}")
                exact = Coil(coil, at_mm * 1e-3)
                z = exact.impedance(sheet)
                henry, ohm = z.imag / W, z.real
                got = report["metal_sheet"]
                checks.near(got["inductance_change_h"], henry, 0.02 * abs(henry), f"{what}: change of inductance")
                checks.near(got["resistance_ohm"], ohm, 0.02 * ohm, f"{what}: resistance of the sheet")
                checks.near(report["reader"]["inductance_h"], alone["inductance_h"] + henry, 0.002 * alone["inductance_h"], f"{what}: inductance")
                axis = axis_of(tilt, bearing)
                points, weights = along_rod(np.array(place) * 1e-3, axis, 10e-3)
                own = sum(w * flux_density(turns_of(coil), p) @ axis for p, w in zip(points, weights))
                sheet_part = sum(w * b @ axis for w, b in zip(weights, exact.reflected(sheet, points)))
                m = 100e-4 * (own + sheet_part)
                size = 100e-4 * (abs(own) + abs(sheet_part))
                checks.near(report["positions"][0]["mutual_h"], m.real, 0.02 * abs(m.real) + 1e-3 * size, f"{what}: M with the tag")
                turned = np.degrees(np.angle(m * np.sign(m.real)))
                checks.near(got["phase_left_out_deg"], turned, 0.02 * abs(turned) + 0.1, f"{what}: phase of M that is left out")


def rectangles(checks):
    coil = dict(shape="rectangle", width_mm=200, height_mm=120, turns=18, layers=2, wire_mm=0.5)
    alone = free(coil)
    depth = np.sqrt(2 / (W * MU_0 * 58e6))
    for at_mm in (-15, -70, 180):
        report = link(keys(coil, at_mm, 5, 58, 1), "--distance=70", "--offset=-30", "--offset-y=20", "--tilt=25", "--bearing=40")
        loops = turns_of(coil)
        # The field ends half a skin depth below the face (first order in depth over distance: 0.6 % of the change at 15 mm).
        mirror = at_mm * 1e-3 + np.sign(at_mm) * depth / 2
        mirrored = [loop * [1, 1, -1] + [0, 0, 2 * mirror] for loop in loops]
        axis = axis_of(25, 40)
        points, weights = along_rod(np.array([30, 20, 70]) * 1e-3, axis, 10e-3)
        m = 100e-4 * sum(w * (flux_density(loops, p) - flux_density(mirrored, p)) @ axis for p, w in zip(points, weights))
        checks.near(report["positions"][0]["mutual_h"], m, 0.02 * abs(m), f"rectangle, copper at {at_mm} mm: M with the tag")
        change = -sum(neumann(a, b) for a in loops for b in mirrored)
        got = report["metal_sheet"]["inductance_change_h"]
        checks.near(got, change, 0.02 * abs(change), f"rectangle, copper at {at_mm} mm: change of inductance")
        checks.near(report["reader"]["inductance_h"], alone["inductance_h"] + change, 0.004 * alone["inductance_h"], "rectangle: inductance")


def neumann(a, b):
    """Parallel rectangles one above the other: Neumann's integral over pairs of parallel sides, Gauss nodes on 8 panels a side."""
    x, w = np.polynomial.legendre.leggauss(12)
    at = (np.arange(8)[:, None] + (1 + x) / 2).ravel() / 8
    weight = np.tile(w / 16, 8)
    total = 0.0
    for i in range(4):
        for j in range(4):
            da, db = a[i + 1] - a[i], b[j + 1] - b[j]
            if abs(da @ db) < 1e-15:
                continue
            p, q = a[i] + at[:, None] * da, b[j] + at[:, None] * db
            distance = np.linalg.norm(p[:, None] - q[None], axis=2)
            total += MU_0 / (4 * np.pi) * (da @ db) * (weight[:, None] * weight[None] / distance).sum()
    return total


def circuits(checks):
    coil = dict(radius_mm=60, turns=45, layers=3, wire_mm=0.3)
    alone = free(coil)
    for name, at_mm in (("aluminium 2 mm", -30), ("steel 1.5 mm", -30), ("stainless 1 mm", 150)):
        thickness, sigma, mu = SHEETS[name]
        sheet = (thickness * 1e-3, sigma * 1e6, mu)
        exact = Coil(coil, at_mm * 1e-3)
        z = exact.impedance(sheet)
        henry, ohm = alone["inductance_h"] + z.imag / W, alone["coil_ohm"] + z.real
        before = 8.0 / (20 + alone["coil_ohm"])
        for retuned in (False, True):
            c = 1 / (W**2 * (henry if retuned else alone["inductance_h"]))
            report = link(keys(coil, at_mm, thickness, sigma, mu, {"reader.metal_sheet.tuned_beside": str(retuned).lower()}.items()), "--distance=60", "--tilt=0")
            what = f"{name} at {at_mm} mm, {'tuned beside it' if retuned else 'tuned before'}"
            checks.near(report["reader"]["capacitance_f"], c, 0.01 * c, f"{what}: capacitor")
            resonance = 1 / (2 * np.pi * np.sqrt(henry * c))
            checks.near(report["reader"]["resonance_hz"], resonance, 0.002 * resonance, f"{what}: resonance")
            current = 8.0 / abs(20 + ohm + 1j * W * henry + 1 / (1j * W * c))
            checks.that(abs(z) < abs(20 + ohm + 1j * W * henry + 1 / (1j * W * c)) or retuned, f"{what}: the sheet is not all of the loop")
            checks.near(report["reader"]["antenna_a"], current, 0.02 * current, f"{what}: current")
            got = report["metal_sheet"]
            checks.near(got["current_ratio"], current / before, 0.02 * current / before, f"{what}: current against none")
            points, weights = along_rod(np.array([0, 0, 0.06]), np.array([0, 0, 1.0]), 10e-3)
            flux = sum(w * flux_density(turns_of(coil), p)[2] for p, w in zip(points, weights))
            reflected = sum(w * b[2].real for w, b in zip(weights, exact.reflected(sheet, points)))
            ratio = current / before * (flux + reflected) / flux
            checks.near(got["field_ratio"], ratio, 0.02 * ratio, f"{what}: field at the tag against none")


def refusals(checks):
    sheet = {"reader.metal_sheet.at_mm": -20}
    for more, word in (
        ({"reader.metal_sheet.at_mm": -2}, "winding"),
        ({"reader.metal_sheet.at_mm": 70}, "sheet"),
        ({"reader.metal_sheet.thickness_mm": 0}, "thickness_mm"),
        ({"reader.metal_sheet.conductivity_ms_per_m": 1000}, "conductivity_ms_per_m"),
        ({"reader.metal_sheet.permeability": 0.5}, "permeability"),
        ({"second_reader.distance_mm": 300}, "second_reader"),
    ):
        flags = [word for key, value in (sheet | more).items() for word in ("--set", f"{key}={value}")]
        out = run("link", *flags)
        checks.that(out.returncode == 2 and out.stderr.count("\n") == 1 and word in out.stderr, f"{more}: {out.returncode} {out.stderr!r}")
    out = run("link", "--set", "reader.metal_sheet.at_mm=150", "--distance", "200")
    checks.that(out.returncode == 2 and out.stderr.count("\n") == 1, f"a tag behind the sheet: {out.stderr!r}")


def main():
    checks = Checks()
    circles(checks)
    rectangles(checks)
    circuits(checks)
    refusals(checks)
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

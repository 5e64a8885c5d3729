"""Coils on ferrite rods as `link` works them out from the rod, against finite elements of the vector potential.

The flux function r*A of an axially symmetric field is solved on a grid that follows rod and winding: once with an even field far away, once with a
current in the winding. Two meshes, the finer of half the steps; what is left to the limit is taken as a third of the last step (second
order), the tolerance is 1.5 % and that.

Also: the tag's coil in `synth` and `link` is this one (voltage by the tag's own equation), and what is refused is refused in one line.
"""

import sys

import numpy as np
import scipy.sparse as sparse
from scipy.sparse.linalg import splu

from check_link import MU_0, W, flux_density, link, run, tag_states, turns_of
from report import Checks

# length, diameter, permeability, turns, winding, mean diameter of the winding; mm
RODS = [
    (9, 1.0, 600, 900, 5, 1.2),
    (9, 1.2, 1000, 600, 5, 1.5),
    (5.5, 0.8, 400, 500, 4, 1.0),
    (25, 3, 2000, 300, 12, 3.4),
    (60, 10, 200, 160, 20, 11),
    (60, 10, 20, 260, 20, 11),
    (20, 10, 600, 100, 10, 11),
    (10, 10, 600, 100, 6, 12),
    (100, 5, 1000, 100, 90, 5.6),
    (100, 2, 2000, 400, 30, 2.4),
    (9, 1.2, 5000, 600, 8.9, 1.25),
    (12, 2, 50, 800, 3, 3.6),
]


def axis(breaks, fine, ratio, far):
    """Nodes from 0, steps `fine` at every break and growing by `ratio` away from it."""
    points = {0.0}
    for low, high in zip([0.0, *breaks], [*breaks, far]):
        left, right = [low], [high]
        step_left = fine if low in breaks else 8 * fine
        step_right = fine if high in breaks else np.inf
        while True:
            if step_left <= step_right:
                if left[-1] + 1.5 * step_left >= right[-1]:
                    break
                left.append(left[-1] + step_left)
                step_left *= ratio
            else:
                if right[-1] - 1.5 * step_right <= left[-1]:
                    break
                right.append(right[-1] - step_right)
                step_right *= ratio
        points.update(np.round(left + right, 12))
    return np.array(sorted(points))


def solve(length, diameter, mu, turns, winding, winding_diameter, fine, ratio):
    """Inductance, H, and effective area, m2."""
    a, c, half = diameter / 2, winding_diameter / 2, length / 2
    far = 12 * length
    r = axis([a, c], min(fine, (c - a) / 2), ratio, far)
    z = axis(sorted({half, winding / 2}), fine, ratio, far)
    nr, nz = len(r), len(z)
    r_mid, z_mid, dz = (r[1:] + r[:-1]) / 2, (z[1:] + z[:-1]) / 2, np.diff(z)
    nu = np.where((r_mid[:, None] < a) & (z_mid[None] < half), 1 / (MU_0 * mu), 1 / MU_0)
    index = np.arange(nr * nz).reshape(nr, nz)
    # Links along r, exact for a flux that goes with r squared; along z, exact for one that is even over r.
    across = 2 * nu / np.diff(r**2)[:, None]
    along_r = np.zeros((nr - 1, nz))
    along_r[:, :-1] += across * dz / 2
    along_r[:, 1:] += across * dz / 2
    inner = np.where(r[:-1] > 0, np.log(r_mid / np.where(r[:-1] > 0, r[:-1], 1)), 0)
    along_z = np.zeros((nr, nz - 1))
    along_z[:-1] += nu * inner[:, None] / dz
    along_z[1:] += nu * np.log(r[1:] / r_mid)[:, None] / dz
    i = np.concatenate([index[:-1].ravel(), index[:, :-1].ravel()])
    j = np.concatenate([index[1:].ravel(), index[:, 1:].ravel()])
    v = np.concatenate([along_r.ravel(), along_z.ravel()])
    matrix = sparse.coo_matrix((np.r_[v, v, -v, -v], (np.r_[i, j, i, j], np.r_[i, j, j, i])), (nr * nz, nr * nz)).tocsr()
    wire, end = np.argmin(abs(r - c)), np.argmin(abs(z - winding / 2))
    share = np.zeros(nz)
    share[:end] += dz[:end] / 2
    share[1 : end + 1] += dz[:end] / 2
    share *= turns / winding
    fixed = np.zeros((nr, nz), bool)
    fixed[[0, -1]] = True
    fixed[:, -1] = True
    fixed = fixed.ravel()
    solver = splu(matrix[~fixed][:, ~fixed].tocsc())
    current = np.zeros((nr, nz))
    current[wire] = share
    flux = np.zeros(nr * nz)
    flux[~fixed] = solver.solve(current.ravel()[~fixed])
    linked = 4 * np.pi * (flux.reshape(nr, nz)[wire] * share).sum()
    outer = np.repeat(r**2 / 2, nz)
    flux = np.zeros(nr * nz)
    flux[fixed] = outer[fixed]
    flux[~fixed] = solver.solve(-(matrix[~fixed][:, fixed] @ outer[fixed]))
    return np.array([linked, 4 * np.pi * (flux.reshape(nr, nz)[wire] * share).sum()])


def keys(rod):
    length, diameter, mu, turns, winding, across = rod
    names = dict(length_mm=length, diameter_mm=diameter, permeability=mu, turns=turns, winding_share=winding / length, winding_ratio=across / diameter)
    return {f"tag.1.rod.{name}": value for name, value in names.items()}


def rods(checks):
    for rod in RODS:
        sizes = [value if place in (2, 3) else value * 1e-3 for place, value in enumerate(rod)]
        coarse, fine = (solve(*sizes, sizes[1] / 24 / n, 1 + 0.15 / n) for n in (1, 2))
        limit = fine + (fine - coarse) / 3
        slack = 0.015 + abs(fine / coarse - 1) / 3
        tag = link(keys(rod), "--distance", "60", "--tilt", "0")["tag"]
        print(f"{rod}: {tag['inductance_h'] * 1e3:.4f} mH ({100 * (tag['inductance_h'] / limit[0] - 1):+.2f} %), {tag['effective_area_m2'] * 1e4:.2f} cm2 "
              f"({100 * (tag['effective_area_m2'] / limit[1] - 1):+.2f} %), mesh {100 * abs(fine / coarse - 1).max():.2f} %", flush=True)
        checks.near(tag["inductance_h"] / limit[0], 1, slack[0], f"{rod}: inductance over finite elements")
        checks.near(tag["effective_area_m2"] / limit[1], 1, slack[1], f"{rod}: effective area over finite elements")


def voltage(checks):
    """The tag's voltage with that coil: M by Biot-Savart over the rod, the tag's own loop."""
    rod = RODS[0]
    report = link({**keys(rod), "tag.1.clamp_v": 1000}, "--distance", "90", "--tilt", "0")
    tag, place = report["tag"], report["positions"][0]
    loops = turns_of(dict(turns=45, layers=3, wire_mm=0.3, radius_mm=60))
    steps = np.linspace(-0.5, 0.5, 11) * rod[0] * 1e-3
    simpson = np.array([1, *([4, 2] * 4), 4, 1]) / 30
    m = tag["effective_area_m2"] * sum(w * flux_density(loops, np.array([0, 0, 0.09 + s]))[2] for s, w in zip(steps, simpson))
    z2, tank = tag_states(tag["inductance_h"], 30, tag["capacitance_f"], 100e3, 4e3)[0]
    want = abs(W * m * place["antenna_a"] / z2 * tank)
    checks.near(place["mutual_h"], m, 0.02 * m, "M of a rod")
    checks.near(place["tag_v"], want, 0.02 * want, "voltage of a tag on a rod")


def refusals(checks):
    for more, word in (
        ({"tag.1.rod.length_mm": 0.4}, "length_mm"),
        ({"tag.1.rod.length_mm": 60}, "length over its diameter"),
        ({"tag.1.rod.permeability": 1}, "permeability"),
        ({"tag.1.rod.winding_share": 1.2}, "winding_share"),
        ({"tag.1.rod.winding_ratio": 0.9}, "winding_ratio"),
        ({"tag.1.rod.turns": 20000, "tag.1.rod.length_mm": 50}, "inductance_mh"),
        ({"tag.1.rod.turns": 1}, "turns"),
    ):
        flags = [word for key, value in more.items() for word in ("--set", f"{key}={value}")]
        out = run("link", *flags)
        checks.that(out.returncode == 2 and out.stderr.count("\n") == 1 and word in out.stderr, f"{more}: {out.returncode} {out.stderr!r}")


def main():
    checks = Checks()
    rods(checks)
    voltage(checks)
    refusals(checks)
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

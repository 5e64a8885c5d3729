"""Resistance and inductance of antennas of thick wire: what `fieldripple link` prints, against ring elements (rings.py).

First the ring elements themselves: one wide turn against the Bessel functions of straight wire. Every coil is solved on two meshes; the rest of
the way to the limit is taken as the last step times h²/(1 − h²), h the ratio of the cells' sizes (second order in the cell), and half of
that is added to the tolerance. Tolerance otherwise: 5 % for the resistance, 2 % for the inductance.

    python check_coils.py            the table of TURNS × WIRE × LAYERS below (about two minutes)
"""

import json
import os
import subprocess
import sys

import numpy as np
from scipy.special import jv

from report import Checks
from rings import COPPER, MU_0, coil, layers

FIELD_HZ = 134_200.0
PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
MESHES = [(7, 14), (9, 21)]
REST = (14 / 21) ** 2 / (1 - (14 / 21) ** 2)

# mean radius mm, turns, layers, wire mm, pitch over wire, layer pitch over wire
COILS = [
    (50, 16, 1, 1.0, 1.1, 1.1),
    (30, 24, 4, 0.6, 1.1, 1.1),
    (60, 45, 3, 0.3, 1.1, 1.1),
    (60, 16, 1, 1.0, 2.0, 1.1),
    (40, 10, 10, 0.8, 1.1, 1.3),   # flat spiral
    (25, 30, 5, 0.4, 1.05, 1.05),  # nearly touching, half as deep as wide
    (100, 8, 2, 2.0, 1.15, 1.2),
    (200, 7, 1, 0.5, 3.0, 1.1),
    (30, 23, 4, 0.2, 1.1, 1.1),    # a last layer that is not full
]


def program(radius, turns, layers_, wire, pitch, layer_pitch):
    keys = dict(radius_mm=radius, turns=turns, layers=layers_, wire_mm=wire, pitch_mm=pitch * wire, layer_pitch_mm=layer_pitch * wire)
    words = [PROGRAM, "link", "--json", "--distance", "50", "--tilt", "0"]
    for key, value in keys.items():
        words += ["--set", f"reader.coil.{key}={value}"]
    reader = json.loads(subprocess.run(words, check=True, capture_output=True, text=True).stdout)["reader"]
    return reader["coil_ohm"], reader["inductance_h"]


def main():
    checks = Checks()
    wire = 1e-3
    k = np.sqrt(-2j * np.pi * FIELD_HZ * MU_0 * COPPER)
    exact = (k / (np.pi * wire * COPPER) * jv(0, k * wire / 2) / jv(1, k * wire / 2)).real * 2 * np.pi * 0.5
    coarse, fine = (coil([(0.5, 0.0)], FIELD_HZ, wire, *mesh)[0] for mesh in MESHES)
    limit = fine + (fine - coarse) * REST
    checks.near(limit / exact, 1.0, 0.01, "one wide turn, ring elements over Bessel functions")
    for case in COILS:
        radius, turns, layers_, wire, pitch, layer_pitch = case
        wire *= 1e-3
        places = layers(radius * 1e-3, turns, layers_, pitch * wire, layer_pitch * wire)
        (coarse, _), (fine, henry) = (coil(places, FIELD_HZ, wire, *mesh) for mesh in MESHES)
        limit = fine + (fine - coarse) * REST
        slack = abs(limit - fine) / 2 / limit
        got_ohm, got_h = program(*case)
        print(f"{case}: {got_ohm:.4f} Ω ({100 * (got_ohm / limit - 1):+.2f} %), {got_h * 1e6:.3f} µH ({100 * (got_h / henry - 1):+.2f} %)", flush=True)
        checks.near(got_ohm / limit, 1.0, 0.05 + slack, f"{case}: resistance over ring elements")
        checks.near(got_h / henry, 1.0, 0.02, f"{case}: inductance over ring elements")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

"""Resistance and inductance of a coil of thick round wire, by ring elements.

Every wire's cross-section is cut into annular sectors, each a thin ring with its own current. All pairs couple by Maxwell's elliptic
formula for coaxial circles, an element with itself by the mean geometric distance of a rectangle; the elements of a turn share one
voltage and the turns one current. Skin effect, proximity effect, curvature and the pushing aside of neighbours' currents are all in
it; the only approximation is the mesh, and `coil` is run on two of them.
"""

import numpy as np
from scipy.special import ellipe, ellipkm1

MU_0 = 4e-7 * np.pi
COPPER = 5.8e7  # S/m, IACS 100 %


def coaxial(a, b, h):
    """Maxwell's formula (NIST DLMF 19.34 in Legendre's form)."""
    plus = h * h + (a + b) ** 2
    minus = h * h + (a - b) ** 2
    m1 = minus / plus
    return MU_0 * np.sqrt(plus) / 2 * ((1 + m1) * ellipkm1(m1) - 2 * ellipe(1 - m1))


def mesh(radius_m, depth_m, rings, sectors):
    """Centres (outward, up), areas and self distances of the sectors of a round wire; rings get thinner towards the surface."""
    share = np.linspace(0, 1, rings + 1)
    stretch = max(radius_m / depth_m, 0.5)
    edges = radius_m * (1 - np.exp(-stretch * share)) / (1 - np.exp(-stretch))
    parts = []
    for low, high in zip(edges, edges[1:]):
        count = sectors if low > 0 else 1
        area = np.pi * (high**2 - low**2) / count
        # Centroid of an annular sector.
        half = np.pi / count
        middle = 2 / 3 * (high**3 - low**3) / (high**2 - low**2) * np.sin(half) / half if count > 1 else 0.0
        for index in range(count):
            angle = 2 * np.pi * (index + 0.5) / count
            if count > 1:
                distance = 0.2235 * ((high - low) + 2 * half * (low + high) / 2)
            else:
                distance = high * np.exp(-0.25)
            parts.append((middle * np.cos(angle), middle * np.sin(angle), area, distance))
    return np.array(parts).T


def coil(turns, frequency_hz, wire_m, rings, sectors, conductivity=COPPER):
    """`turns`: (radius, height) of each turn in m. Returns Ω and H of all turns in series."""
    omega = 2 * np.pi * frequency_hz
    depth = np.sqrt(2 / (omega * MU_0 * conductivity))
    out, up, area, distance = mesh(wire_m / 2, depth, rings, sectors)
    count = len(out)
    radius = np.concatenate([r + out for r, _ in turns])
    height = np.concatenate([z + up for _, z in turns])
    with np.errstate(divide="ignore", invalid="ignore"):
        mutual = coaxial(radius[:, None], radius[None, :], height[:, None] - height[None, :])
    own = MU_0 * radius * (np.log(8 * radius / np.tile(distance, len(turns))) - 2)
    np.fill_diagonal(mutual, own)
    impedance = 1j * omega * mutual
    impedance[np.diag_indices(len(radius))] += 2 * np.pi * radius / (conductivity * np.tile(area, len(turns)))
    member = np.zeros((len(radius), len(turns)))
    for turn in range(len(turns)):
        member[turn * count : (turn + 1) * count, turn] = 1
    admittance = member.T @ np.linalg.solve(impedance, member.astype(complex))
    total = np.linalg.solve(admittance, np.ones(len(turns), complex)).sum()
    return total.real, total.imag / omega


def layers(radius_m, turns, layers, pitch_m, layer_pitch_m):
    """Places of the turns of a circular coil: columns along the axis, full layers first, the mean layer at `radius_m`."""
    columns = -(-turns // layers)
    places = []
    for index in range(turns):
        layer, column = divmod(index, columns)
        places.append((radius_m + (layer - (layers - 1) / 2) * layer_pitch_m, column * pitch_m))
    return places


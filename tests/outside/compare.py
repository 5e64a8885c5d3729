"""What the receiver says in a page, beside what the program prints.

Whole numbers, texts and keys are equal. Measured values may differ in their last digits: the program adds single-precision products eight
at a time with fused operations, the page four at a time without. A sum of N products has a relative error of at most about sqrt(N) roundings
of 6e-8 (errors of random sign), 1e-4 for the 3 million samples of a window. What is left where large parts cancel (offsets, angles near 0,
a tag's fine timing) is that share of what cancelled: it is held to the same share of the quantity's own scale. Odds are exponentials of such
sums: their logarithm is held to it, as decibels are (1e-3 dB for 1e-4 is 4e-4 dB and some).
"""

import math

RELATIVE = 1e-4
# Of quantities that are differences: the scale that they are held to.
SCALES = {"offset_ppm": 1e3, "level_swing": 1e-2, "angle_deg": 90.0, "from_s": 1.0, "to_s": 1.0, "frequency_hz": 134.2e3}


def same(here, there, key="", path=""):
    """What differs, each with its place."""
    if isinstance(here, dict) and isinstance(there, dict):
        if list(here) != list(there):
            return [f"{path}: keys {list(here)} and {list(there)}"]
        return [found for name in here for found in same(here[name], there[name], name, f"{path}/{name}")]
    if isinstance(here, list) and isinstance(there, list):
        if len(here) != len(there):
            return [f"{path}: {len(here)} and {len(there)} entries"]
        return [found for at, pair in enumerate(zip(here, there)) for found in same(*pair, key, f"{path}/{at}")]
    numbers = (int, float)
    if isinstance(here, numbers) and isinstance(there, numbers) and not isinstance(here, bool):
        if isinstance(here, int) and isinstance(there, int):
            return [] if here == there else [f"{path}: {here} and {there}"]
        if key.startswith("odds"):
            here, there = math.log10(max(here, 1e-300)), math.log10(max(there, 1e-300))
        tolerance = RELATIVE * max(abs(here), abs(there), SCALES.get(key, 0.0), 10.0 if key.endswith("_db") else 0.0)
        return [] if abs(here - there) <= tolerance else [f"{path}: {here} and {there}"]
    return [] if here == there else [f"{path}: {here!r} and {there!r}"]

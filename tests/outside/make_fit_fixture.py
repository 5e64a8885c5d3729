"""A short capture of a bench that is not as thought, for tests/link.rs: python3 tests/outside/make_fit_fixture.py writes tests/fixtures/fit.

circuits.py solves the bench; the scenario beside it says what its builder thinks. Needs numpy.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np

import writers
from circuits import Circuits, steady_capture
from fdxb import Number

FOLDER = Path(__file__).resolve().parents[1] / "fixtures" / "fit"
RATE_HZ = 400_000
SECONDS = 0.125
# Its telegram does not invert the load: four periods in an eighth of a second, so that the noise shows between them.
NUMBER = Number(country=999, national=271_828_182_846)
BENCH = Circuits(antenna_h=600e-6, antenna_hz=131_900.0, antenna_q=16.0, coupling=8e-3, tag_hz=136_100.0, load_ohm=12_000.0, delay_cycles=0.62)


def scenario():
    thought = replace(BENCH, antenna_hz=134_200.0, antenna_q=20.0, tag_hz=134_200.0)
    return f"""name = "what the builder thinks"

[reader]
source_ohm = {thought.source_share * thought.antenna_ohm:.4f}
coil_ohm = {(1 - thought.source_share) * thought.antenna_ohm:.4f}
inductance_uh = {1e6 * thought.antenna_h:.1f}
tuned_hz = {thought.antenna_hz}

[[tag]]
inductance_mh = {1e3 * thought.tag_h}
coil_q = {thought.coil_q}
chip_ohm = {thought.chip_ohm}
tuned_hz = {thought.tag_hz}
modulation_ohm = 8000
effective_area_cm2 = 800
distance_mm = 80
"""


def main():
    FOLDER.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(20_260)
    voltage = 0.01 * steady_capture(BENCH, NUMBER, SECONDS, RATE_HZ, 77).real
    # Eb/N0 of 23 dB: the ripple is 0.34 % of the field.
    full = 1.2 * np.max(np.abs(voltage))
    writers.wav(FOLDER / "bench.wav", voltage + 1e-3 * full * rng.standard_normal(voltage.size), RATE_HZ, 16, full)
    (FOLDER / "thought.toml").write_text(scenario())


if __name__ == "__main__":
    main()

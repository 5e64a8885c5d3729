"""What `decode --pickup` says of the field, against sums worked out here.

- a voltage of 2 pi f N A B (law of induction) written by numpy as text, and as a WAV with its volts at full scale, at frequencies in and beside
  the channel, in noise: B and H = B / mu0 within what noise leaves (five standard deviations of the amplitude, and 1e-4 for the rounding);
- a pick-up coil of the bench's circuits on the axis and beside it: B by Biot-Savart from the antenna's current in `link`, 1 %;
- what usual tags need: nodal equations with the numbers of `link --tags`, as the page prints them, to their two digits.
"""

import json
import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from scipy.io import wavfile

from check_link import flux_density, link, reader_z, turns_of
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
MU_0 = 4e-7 * np.pi
W = 2 * np.pi * 134_200.0


def program(*words, good=(0, 1)):
    done = subprocess.run([PROGRAM, *map(str, words)], capture_output=True, text=True)
    if done.returncode not in good:
        raise SystemExit(f"{words}: {done.stderr}")
    return done


def by_voltage(checks, folder):
    rng = np.random.default_rng(20)
    for index in range(12):
        turns, diameter_mm = float(rng.integers(1, 60)), float(rng.uniform(10, 300))
        flux_t, hz = 10 ** rng.uniform(-8, -4), 134_200.0 + float(rng.uniform(-400, 400))
        peak = np.sqrt(2) * flux_t * 2 * np.pi * hz * turns * np.pi * (diameter_mm / 2000) ** 2
        count, sigma = 50_000, 0.02 * peak
        samples = peak * np.cos(2 * np.pi * hz / 500e3 * np.arange(count) + 1) + sigma * rng.standard_normal(count)
        within = 5 * sigma / peak * np.sqrt(2 / count) + 1e-4
        coil = ["--pickup", f"{turns:g},{diameter_mm!r}", "--json"]
        if index % 2:
            path, full = folder / "coil.wav", float(rng.uniform(1.2, 3) * peak)
            wavfile.write(path, 500_000, (samples / full).astype(np.float32) if index % 4 == 1 else np.round(samples / full * 32767).astype(np.int16))
            more = ["--full-scale", repr(full)]
            bare = json.loads(program("decode", path, *coil).stdout)["field"]
            fractions = index % 4 != 1
            checks.that(not fractions or bare["flux_density_t_rms"] is None, f"{index}: no volts, no field: {bare}")
            if not fractions:
                samples, more = samples / full, []
                flux_t = flux_t / full
        else:
            path, more = folder / "coil.csv", []
            rows = "".join(f"{k / 500e3!r},{v!r}\n" for k, v in enumerate(samples.tolist()))
            path.write_text("time (s),coil (V)\n" + rows)
        field = json.loads(program("decode", path, *coil, *more).stdout)["field"]
        checks.near(field["flux_density_t_rms"], flux_t, within * flux_t, f"{index}: {turns:g} turns of {diameter_mm:.1f} mm at {hz:.0f} Hz")
        checks.near(field["strength_a_per_m_rms"], flux_t / MU_0, (within + 1e-6) * flux_t / MU_0, f"{index}: A/m")


def by_circuits(checks, folder):
    own = dict(turns=20, layers=2, wire_mm=0.4, radius_mm=80)
    antenna = {f"reader.coil.{key}": value for key, value in own.items()}
    # Without a tag the antenna's current is the driver's voltage over its impedance.
    ampere = 8.0 / abs(reader_z(link(antenna, "--distance", "3000")["reader"])["z"])
    loops = turns_of(own)
    for distance, offset, turns, radius in ((60, 0, 10, 20), (150, 0, 25, 15), (100, 40, 5, 10)):
        settings = {**antenna, "probe.at": "pickup", "probe.distance_mm": distance, "probe.offset_mm": offset, "probe.coil.turns": turns,
                    "probe.coil.radius_mm": radius, "tag.1.distance_mm": 3000, "duration_s": 0.1}
        path = folder / "bench.csv"
        words = [word for key, value in settings.items() for word in ("--set", f"{key}={value}")]
        program("synth", path, *words)
        field = json.loads(program("decode", path, "--pickup", f"{turns},{2 * radius}", "--json").stdout)["field"]
        # Mean over the coil's face: rings of equal area.
        across = radius * 1e-3 * np.sqrt((np.arange(6) + 0.5) / 6)
        around = 2 * np.pi * np.arange(12) / 12
        normal = [flux_density(loops, np.array([offset * 1e-3 + r * np.cos(a), r * np.sin(a), distance * 1e-3]))[2] for r in across for a in around]
        want = ampere * abs(np.mean(normal)) / np.sqrt(2)
        checks.near(field["flux_density_t_rms"], want, 0.01 * want, f"pick-up at {distance} mm, {offset} mm aside")


def needs(checks, folder):
    presets, name = {}, None
    for line in program("link", "--tags").stdout.splitlines():
        if value := re.match(r"  (\w+) = ([\d.]+)", line):
            presets[name][value[1]] = float(value[2])
        elif head := re.match(r"(\S+)  ", line):
            name = head[1]
            presets[name] = {}
    presets = {name: keys for name, keys in presets.items() if keys}
    path = folder / "field.csv"
    program("synth", path, "--seconds", 0.05, "--rate", "500k")
    page = " ".join(program("decode", path, "--pickup", "10,50").stdout.split())
    told = {name: float(value) for name, value in re.findall(r"([\w-]+) \(([\d.]+) µT\)", page)}
    checks.that(sorted(told) == sorted(presets), f"every usual tag is told of: {told}")
    for name, keys in presets.items():
        henry = keys["inductance_mh"] * 1e-3
        coil = W * henry / keys["coil_q"] + 1j * W * henry
        tank = 1 / (1 / keys["chip_ohm"] + 1j * W / (W**2 * henry))
        need = keys["minimum_v"] / abs(tank / (coil + tank)) / (W * keys["effective_area_cm2"] * 1e-4) / np.sqrt(2) * 1e6
        digit = 10.0 ** (np.floor(np.log10(need)) - 1)
        checks.near(told.get(name, np.nan), need, 0.5001 * digit, f"{name} needs")


def main():
    checks = Checks()
    with tempfile.TemporaryDirectory(prefix="ripple-") as name:
        by_voltage(checks, Path(name))
        by_circuits(checks, Path(name))
        needs(checks, Path(name))
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

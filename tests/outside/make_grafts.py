"""Short captures of one strong tag for the table of file shapes in tests/captures.rs: numbers, and the containers of other writers.

python3 tests/outside/make_grafts.py writes tests/fixtures/grafts. Needs numpy, scipy and soundfile (libsndfile) for FLAC.
"""

import gzip
import io
import json
import zipfile
from pathlib import Path

import numpy as np
import scipy.io
import soundfile

from fdxb import FIELD_HZ, HALF_BIT_CYCLES, Bench, Number, Tag, ripple_capture

FOLDER = Path(__file__).resolve().parents[1] / "fixtures" / "grafts"
RATE_HZ = 400_000
TAG = Tag(Number(country=999, national=31_415_926_535), depth=0.06, angle_deg=35.0, start_cycles=700.0)
FULL_CODES = 32_000


def edges_ns(tag, seconds):
    """Where the load changes, nanoseconds, with the state from there on."""
    first = tag.start_cycles / HALF_BIT_CYCLES
    halves = np.arange(np.ceil(first), np.floor(first + seconds * FIELD_HZ / HALF_BIT_CYCLES)).astype(int)
    states = tag.half_bit(halves)
    changed = np.flatnonzero(np.diff(states)) + 1
    times = (halves[changed] - first) * HALF_BIT_CYCLES / FIELD_HZ
    return np.round(times * 1e9).astype(int), (states[changed] > 0).astype(int)


def main():
    FOLDER.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(60_717)
    volts = ripple_capture(Bench(rate_hz=RATE_HZ, seconds=0.05, ebn0_db=22.0), TAG, rng).samples
    codes = np.round(volts / 1.25 * FULL_CODES).astype("<i2")
    codes.tofile(FOLDER / "direct.i16")
    baseband = ripple_capture(Bench(rate_hz=50_000, seconds=0.07, kind="iq", centre_hz=134_000.0, ebn0_db=22.0), TAG, rng).samples
    pairs = np.round(np.stack((baseband.real, baseband.imag), axis=1) / 1.25 * FULL_CODES).astype("<i2")
    pairs.tofile(FOLDER / "iq.i16")
    times, states = edges_ns(TAG, 0.08)
    (FOLDER / "edges.txt").write_text("".join(f"{t} {s}\n" for t, s in zip(times, states)))

    volts = codes / FULL_CODES * 1.25
    time_s = np.arange(codes.size) / RATE_HZ
    np.save(FOLDER / "time_and_volts.npy", np.stack((time_s, volts), axis=1).astype("<f4"))
    np.savez_compressed(FOLDER / "time_and_coil.npz", t=time_s.astype("<f4"), coil=codes)
    np.savez(FOLDER / "coil_and_rate.npz", coil=codes, fs=np.float64(RATE_HZ))
    scipy.io.savemat(FOLDER / "packed.mat", {"coil": codes.astype(float)[None, :], "fs": float(RATE_HZ), "who": "bench"}, do_compression=True)
    scipy.io.savemat(FOLDER / "plain.mat", {"coil": codes[:, None], "Tinterval": 1.0 / RATE_HZ})
    scipy.io.savemat(FOLDER / "time.mat", {"time": time_s[::1].astype("f4")[:, None], "coil": codes[:, None]}, do_compression=True)
    soundfile.write(FOLDER / "direct.flac", codes, RATE_HZ, format="FLAC", subtype="PCM_16")
    wave = io.BytesIO()
    soundfile.write(wave, codes, RATE_HZ, format="WAV", subtype="PCM_16")
    (FOLDER / "wave.wav.gz").write_bytes(gzip.compress(wave.getvalue(), mtime=0))
    with zipfile.ZipFile(FOLDER / "wave.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr(zipfile.ZipInfo("bench/"), b"")
        packed.writestr(zipfile.ZipInfo("bench/capture.wav"), wave.getvalue(), zipfile.ZIP_DEFLATED)
    for name, array in (("signed", codes), ("offset", (codes.astype(int) + 32768).astype("<u2"))):
        meta = {
            "global": {"core:datatype": "ri16_le" if name == "signed" else "ru16_le", "core:sample_rate": RATE_HZ, "core:version": "1.0.0"},
            "captures": [{"core:sample_start": 0}],
            "annotations": [],
        }
        (FOLDER / f"{name}.sigmf-meta").write_text(json.dumps(meta))
        array.tofile(FOLDER / f"{name}.sigmf-data")
    meta = {
        "global": {"core:datatype": "ci16_le", "core:sample_rate": 50_000, "core:version": "1.0.0"},
        "captures": [{"core:sample_start": 0, "core:frequency": 134_000.0}],
        "annotations": [],
    }
    (FOLDER / "iq.sigmf-meta").write_text(json.dumps(meta))
    pairs.tofile(FOLDER / "iq.sigmf-data")


if __name__ == "__main__":
    main()

"""Files that hold no capture of a kind that is read, by their published magic bytes, and the words that have to name them."""

import gzip
import io
import struct
import zipfile

import numpy as np
import scipy.io

NOISE = np.random.default_rng(77).integers(0, 256, 4096, dtype="u1").tobytes()


def _zip(**members):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def _wave(tag, bits, channels=1, body=NOISE):
    frame = channels * ((bits + 7) // 8)
    form = struct.pack("<HHIIHH", tag, channels, 400_000, 400_000 * frame, frame, bits)
    inner = b"WAVEfmt " + struct.pack("<I", len(form)) + form + b"data" + struct.pack("<I", len(body)) + body
    return b"RIFF" + struct.pack("<I", len(inner)) + inner


def _spectrum(title):
    return lambda: (title + "\n" + "".join(f"{k * 50},{-60 + 0.01 * (k % 50)}\n" for k in range(4000))).encode()


def _level_4():
    out = io.BytesIO()
    scipy.io.savemat(out, dict(t=np.arange(50.0), v=np.ones(50)), format="4")
    return out.getvalue()


REFUSALS = {
    "HDF5": (b"\x89HDF\r\n\x1a\n" + NOISE, ["HDF5", "CSV"]),
    "spreadsheet of today": (_zip(**{"[Content_Types].xml": "<a/>", "xl/workbook.xml": "<a/>"}), ["spreadsheet", "CSV"]),
    "spreadsheet of the open kind": (_zip(mimetype="application/vnd.oasis.opendocument.spreadsheet", **{"content.xml": "<a/>"}), ["spreadsheet", "CSV"]),
    "spreadsheet of the old kind": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + NOISE, ["spreadsheet", "CSV"]),
    "AU": (b".snd" + struct.pack(">5I", 24, 4096, 3, 400_000, 1) + NOISE, ["AU", "WAV"]),
    "CAF": (b"caff\0\1\0\0desc" + NOISE, ["CAF", "WAV"]),
    "W64": (bytes.fromhex("72696666 2e91cf11 a5d628db 04c10000") + NOISE, ["W64", "WAV"]),
    "AIFF": (b"FORM" + struct.pack(">I", 4000) + b"AIFF" + NOISE, ["AIFF", "WAV"]),
    "MP3": (b"ID3\3\0\0" + NOISE, ["MP3", "WAV"]),
    "Ogg": (b"OggS\0\2" + NOISE, ["Ogg", "WAV"]),
    "a picture": (b"\x89PNG\r\n\x1a\n" + NOISE, ["PNG", "CSV"]),
    "a document": (b"%PDF-1.7\n" + NOISE, ["PDF"]),
    "bzip2": (b"BZh91AY&SY" + NOISE, ["bzip2"]),
    "xz": (b"\xfd7zXZ\0" + NOISE, ["xz"]),
    "zstd": (b"\x28\xb5\x2f\xfd" + NOISE, ["zstd"]),
    "MATLAB 7.3": (b"MATLAB 7.3 MAT-file, Platform: X".ljust(512) + b"\x89HDF\r\n\x1a\n" + NOISE, ["7.3", "-v7"]),
    "MATLAB level 4": (_level_4, ["level 4", "-v7"]),
    "tar": (b"notes.txt".ljust(124, b"\0") + b"%011o\0" % 512 + bytes(121) + b"ustar\0" + bytes(249) + NOISE, ["tar", "unpack"]),
    "Parquet": (b"PAR1" + NOISE, ["Parquet"]),
    "WAV of 20 bits": (_wave(1, 20), ["20 bits", "not supported"]),
    "WAV of 36 bits": (_wave(1, 36), ["36 bits", "not supported"]),
    "WAV of packed differences": (_wave(2, 4), ["format tag 2", "not supported"]),
    "WAV by a telephone's law": (_wave(7, 8), ["tag 7", "not supported"]),
    "a spectrum": (_spectrum("Frequency (Hz),Amplitude (dBV)"), ["spectrum", "Frequency (Hz)"]),
    "a spectrum in kHz": (_spectrum("f [kHz];Level").__call__().replace(b",", b";"), ["spectrum"]),
    "a spectrum in hertz, in one word": (_spectrum("Hz,dB"), ["spectrum"]),
    "prose": (b"This is a letter.\nIt holds no numbers at all.\n" * 20, ["no rows of numbers"]),
    "a broken row": (lambda: b"Time (s),CH1 (V)\n" + b"".join(b"%.7f,%.4f\n" % (k / 4e5, k % 3) for k in range(500)) + b"0.00125,half\n" + b"0.0012525,1.0\n" * 40,
                     ["line 502", "half", "0.0000000,0.0000"]),
    "JSON": (b'{ "rate": 500000, "samples": [0.1, 0.2, 0.3] }', ["JSON", "CSV"]),
    "XML": (b'\xef\xbb\xbf<?xml version="1.0"?><trace><v>0.1</v></trace>', ["XML", "CSV"]),
    "a web page": (b"<!DOCTYPE html><html><body>0.1</body></html>", ["web page", "CSV"]),
    "nothing in a zip": (_zip(), ["zip", "nothing"]),
    "prose in gzip": (gzip.compress(b"This is a letter.\n" * 50), ["no rows of numbers"]),
    "nothing": (b"", ["empty"]),
}

"""Little files that become a lot: packed to a thousandth, many together, lists of changes that last for hours."""

import gzip
import io
import struct
import zipfile
import zlib

import numpy as np
import scipy.io

MANY = 1 << 28  # bytes unpacked


def _gzip(chunk, front=b""):
    packer = zlib.compressobj(9, zlib.DEFLATED, 31)
    return packer.compress(front) + b"".join(packer.compress(chunk) for _ in range(MANY // len(chunk))) + packer.flush()


def _zip(count, name, data):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for number in range(count):
            archive.writestr(name.format(number), data)
    return out.getvalue()


def _npy(array):
    out = io.BytesIO()
    np.save(out, array)
    return out.getvalue()


def _mat(**variables):
    out = io.BytesIO()
    scipy.io.savemat(out, variables, do_compression=True)
    return out.getvalue()


def _wave_head():
    return b"RIFF" + b"\xff" * 4 + b"WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 1, 400_000, 800_000, 2, 16) + b"data" + b"\xff" * 4


def _lying_zip():
    """A directory that states more files than there are bytes."""
    data = bytearray(_zip(1, "a.csv", b"0,1\n" * 1000))
    at = data.rfind(b"PK\5\6")
    data[at + 8 : at + 12] = b"\xff\xff\xff\xff"
    data[at + 12 : at + 16] = b"\xff\xff\xff\x7f"
    return bytes(data)


def _overlapping_zip():
    """Sixty members of which each is said to lie where the first one does."""
    data = bytearray(_zip(60, "a{:02d}.npy", _npy(np.zeros(1 << 16, "i1"))))
    at = data.find(b"PK\1\2")
    while at >= 0:
        data[at + 42 : at + 46] = bytes(4)
        at = data.find(b"PK\1\2", at + 4)
    return bytes(data)


def _changes(lines, steps, step_us):
    codes = [chr(33 + k) for k in range(lines)]
    head = "$timescale 1 us $end\n" + "".join(f"$var wire 1 {code} line{k} $end\n" for k, code in enumerate(codes)) + "$enddefinitions $end\n"
    return (head + "".join(f"#{k * step_us}\n" + "".join(f"{k % 2}{code}\n" for code in codes) for k in range(steps))).encode()


BOMBS = {
    "rows of one digit in gzip": lambda: _gzip(b"0\n" * 4096),
    "rows of time and state in gzip": lambda: gzip.compress(b"".join(b"%d,%d\n" % (k, k % 2) for k in range(1_000_000))),
    "silence as WAV in gzip": lambda: _gzip(bytes(1 << 16), _wave_head()),
    "rows in zip": lambda: _zip(1, "a.csv", b"0,1\n" * (MANY // 4)),
    "a zip in a zip": lambda: _zip(1, "a.zip", _zip(1, "a.csv", b"0,1\n" * (MANY // 4))),
    "sixty arrays of nought": lambda: _zip(60, "a{}.npy", _npy(np.zeros(MANY // 64, "i1"))),
    "sixty thousand files": lambda: _zip(60_000, "{}.csv", b"1"),
    "a directory that lies": _lying_zip,
    "members upon each other": _overlapping_zip,
    "a variable of bytes": lambda: _mat(a=np.zeros(MANY // 8, "i1")),
    "ten variables of doubles": lambda: _mat(**{f"a{k}": np.zeros(MANY // 128) for k in range(10)}),
    "changes of sixteen lines": lambda: _changes(16, 3000, 119),
    "changes once in a minute": lambda: _changes(1, 3000, 60_000_000),
}

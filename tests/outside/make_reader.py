#!/usr/bin/env python3
"""Builds the receiver for a page in a browser (wasm32), and then the program whose lessons hold that page: python3 tests/outside/make_reader.py

The toolchain's own library for wasm32 is taken, and added with rustup where it is missing. Where that cannot be, it ends with 3. With `--debian`
Debian's packages for building browsers are unpacked below the target folder instead, and the standard library is built from their sources,
which takes some minutes; nothing is installed. `--module` leaves out the program, `--sound` builds it with sound cards too."""

import base64
import gzip
import os
import pathlib
import shutil
import subprocess
import sys

HERE = pathlib.Path(__file__).resolve().parent
ROOT = HERE.parents[1]
OUT = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
TARGET = "wasm32-unknown-unknown"
# What a page holds: the module, packed and in letters.
PACKED = OUT / "reader.txt"
# Compiler, its library, that library's sources with all they need, and a linker.
PACKAGES = ["rustc-web", "rust-web-src", "libstd-rust-web-dev", "lld"]
# Vectors of four values: every browser of the last years has them.
FLAGS = "-C target-feature=+simd128"


def output(*command):
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout.strip()


def own_toolchain():
    """Variables and arguments of a build with the toolchain in use; None where it has no library for the target and gets none."""
    library = pathlib.Path(output("rustc", "--print", "target-libdir", "--target", TARGET))
    if not library.exists() and shutil.which("rustup"):
        subprocess.run(["rustup", "target", "add", TARGET], cwd=ROOT, stdout=subprocess.DEVNULL)
    host = next(line.split()[1] for line in output("rustc", "-vV").splitlines() if line.startswith("host:"))
    linker = pathlib.Path(output("rustc", "--print", "sysroot")) / "lib/rustlib" / host / "bin/rust-lld"
    if library.exists() and linker.exists():
        return {"READER_LLD": str(linker)}, []
    return None


def needed(packages):
    """The packages with those that they need and that are not installed."""
    listed = output("apt-cache", "depends", "--recurse", "--no-recommends", "--no-suggests", "--no-conflicts", "--no-breaks",
                    "--no-replaces", "--no-enhances", *packages).splitlines()
    names = {line for line in listed if line and not line.startswith((" ", "<"))}
    installed = output("dpkg-query", "-W", "-f", "${Package} ${db:Status-Abbrev}\n").splitlines()
    have = {line.split()[0] for line in installed if line.split()[-1].startswith("ii")}
    return sorted(names - have)


def debian():
    """The same from Debian's packages."""
    folder = OUT / "reader-toolchain"
    usr = folder / "usr"
    if not (folder / "unpacked").exists():
        folder.mkdir(parents=True, exist_ok=True)
        subprocess.run(["apt-get", "download", *needed(PACKAGES)], cwd=folder, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for package in folder.glob("*.deb"):
            subprocess.run(["dpkg", "-x", str(package), str(folder)], check=True)
            package.unlink()
        (folder / "unpacked").touch()
    compiler = next(path for path in sorted(usr.rglob("rustc")) if path.parent.name == "bin")
    linker = next(path for path in sorted(usr.rglob("lld")) if path.parent.name == "bin")
    libraries = {str(path.parent) for path in usr.rglob("*.so*")}
    sysroot = compiler.parents[1]
    sources = next(usr.glob("src/rustc-*/library"))
    expected = sysroot / "lib/rustlib/src/rust/library"
    if not expected.exists():
        expected.parent.mkdir(parents=True, exist_ok=True)
        expected.symlink_to(sources)
    variables = {"RUSTC": str(compiler), "RUSTC_BOOTSTRAP": "1", "READER_LLD": str(linker),
                 "LD_LIBRARY_PATH": ":".join(sorted(libraries))}
    return variables, ["-Zbuild-std=std,panic_abort"]


def build(variables, arguments):
    """Builds the module and returns its bytes."""
    name = TARGET.upper().replace("-", "_")
    variables = dict(os.environ, **variables)
    variables[f"CARGO_TARGET_{name}_LINKER"] = str(HERE / "link_reader.py")
    variables[f"CARGO_TARGET_{name}_RUSTFLAGS"] = FLAGS
    subprocess.run(["cargo", "build", "--quiet", "--profile", "browser", "--bin", "reader", "--no-default-features", "--features", "browser",
                    "--target", TARGET, *arguments], cwd=ROOT, env=variables, check=True)
    return (OUT / TARGET / "browser" / "reader.wasm").read_bytes()


def number(module, place):
    """An unsigned number as modules write it (WebAssembly specification, LEB128), and the place behind it."""
    value = shift = 0
    while True:
        byte = module[place]
        value |= (byte & 0x7F) << shift
        place, shift = place + 1, shift + 7
        if byte < 0x80:
            return value, place


def without_notes(module):
    """The module without its custom sections (kind 0), which nothing that runs needs."""
    kept, place = module[:8], 8
    while place < len(module):
        length, inside = number(module, place + 1)
        if module[place] != 0:
            kept += module[place:inside + length]
        place = inside + length
    return kept


def imports(module):
    """Number of things that the module imports (section 2)."""
    place = 8
    while place < len(module):
        length, inside = number(module, place + 1)
        if module[place] == 2:
            return number(module, inside)[0]
        place = inside + length
    return 0


def main():
    toolchain = debian() if "--debian" in sys.argv else own_toolchain()
    if toolchain is None:
        print(f"there is no {TARGET} here, and rustup cannot add it: --debian builds with Debian's packages instead", file=sys.stderr)
        raise SystemExit(3)
    module = without_notes(build(*toolchain))
    if imports(module):
        raise SystemExit("error: the module imports something, and a page has nothing to give it")
    text = base64.b64encode(gzip.compress(module, 9, mtime=0)).decode()
    # A file that is written anew has the program built anew.
    if not PACKED.exists() or PACKED.read_text() != text:
        PACKED.write_text(text)
    print(f"{PACKED}: {len(module)} bytes, {len(text)} in the page")
    if "--module" not in sys.argv:
        features = "reader,sound" if "--sound" in sys.argv else "reader"
        subprocess.run(["cargo", "build", "--quiet", "--release", "--bin", "fieldripple", "--features", features], cwd=ROOT,
                       env=dict(os.environ, FIELDRIPPLE_READER=str(PACKED)), check=True)
        print(OUT / "release" / "fieldripple")


if __name__ == "__main__":
    main()

"""Runs a program and measures what it takes."""

import json
import os
import subprocess
import sys
from dataclasses import dataclass

TIMEOUT_S = 300


@dataclass
class Ran:
    """What a run of the program gave and took."""

    returncode: int
    stdout: str
    stderr: str
    peak_bytes: int
    seconds: float
    processor_s: float


# Peak memory outlives `exec`: a child of the caller would begin with what numpy took there, so a small one starts the program.
LAUNCHER = """
import json, os, resource, sys, time
for kind, most in json.loads(os.environ["LIMITS"]).items():
    resource.setrlimit(getattr(resource, kind), (most, most))
started = time.monotonic()
child = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ)
_, status, usage = os.wait4(child, 0)
taken = [os.waitstatus_to_exitcode(status), usage.ru_maxrss << 10, time.monotonic() - started, usage.ru_utime + usage.ru_stime]
os.write(int(os.environ["TOLD"]), json.dumps(taken).encode())
"""


def run_measured(command, cwd=None, limits=None):
    """The program with its arguments; `limits` are of `resource`, as {"RLIMIT_CPU": seconds}."""
    told, tell = os.pipe()
    ran = subprocess.run(
        [sys.executable, "-S", "-E", "-c", LAUNCHER, *command], capture_output=True, text=True, errors="replace", timeout=TIMEOUT_S, check=True,
        pass_fds=(tell,), cwd=cwd, stdin=subprocess.DEVNULL, env=os.environ | {"TOLD": str(tell), "LIMITS": json.dumps(limits or {})},
    )
    os.close(tell)
    with os.fdopen(told) as pipe:
        returncode, peak_bytes, seconds, processor_s = json.loads(pipe.read())
    return Ran(returncode, ran.stdout, ran.stderr, peak_bytes, seconds, processor_s)

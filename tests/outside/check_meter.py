"""`decode --follow` on a pseudo-terminal: the meter is drawn four times a second and more, shows what the stream holds, obeys its
keys, says when no samples come, and gives the terminal back whatever ends it.

The stream is made by `passes.py`; what is on the screen is put together here from the escape sequences that were sent (ECMA-48:
cursor position, erase, text).
"""

import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import threading
import time

from fdxb import Number, Tag
from passes import BLOCK_S, Pass, Record
from report import Checks

PROGRAM = os.environ.get("FIELDRIPPLE", "target/release/fieldripple")
RATE_HZ = 500_000
ROWS, COLUMNS = 24, 100
RECORD = Record(RATE_HZ, 3.0, passes=(Pass(Tag(Number(national=4711), angle_deg=40.0), 0.5, 9.0),), ebn0_db=12.0)


class Screen:
    """As much of a terminal as the meter uses."""

    SEQUENCE = re.compile(r"\x1b\[([?0-9;]*)([A-Za-z])")

    def __init__(self):
        self.cells = [[" "] * COLUMNS for _ in range(ROWS)]
        self.row = self.column = 0
        self.alternate = self.was_alternate = False

    def feed(self, text):
        place = 0
        while place < len(text):
            match = self.SEQUENCE.match(text, place)
            if match:
                self.control(*match.groups())
                place = match.end()
                continue
            letter = text[place]
            place += 1
            if letter == "\r":
                self.column = 0
            elif letter == "\n":
                self.row = min(self.row + 1, ROWS - 1)
            elif letter >= " " and self.column < COLUMNS:
                self.cells[self.row][self.column] = letter
                self.column += 1

    def control(self, values, what):
        numbers = [int(value or 1) for value in values.strip("?").split(";")] if values.strip("?") else []
        if what == "H":
            self.row, self.column = (numbers + [1, 1])[0] - 1, (numbers + [1, 1])[1] - 1 if len(numbers) > 1 else 0
            self.row, self.column = min(self.row, ROWS - 1), min(self.column, COLUMNS - 1)
        elif what == "J":
            self.cells = [[" "] * COLUMNS for _ in range(ROWS)]
        elif what in "hl" and "1049" in values:
            self.alternate = what == "h"
            self.was_alternate |= self.alternate

    def text(self):
        return "\n".join("".join(row).rstrip() for row in self.cells)


class Session:
    """The program with a terminal of its own, and a stream on its standard input."""

    def __init__(self, words=(), environment=()):
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, COLUMNS, 0, 0))
        self.before = termios.tcgetattr(slave)
        self.slave = slave
        self.process = subprocess.Popen(
            [PROGRAM, "decode", "--follow", "--raw", "i16", "--rate", str(RATE_HZ), *words, "-"],
            stdin=subprocess.PIPE, stdout=slave, stderr=slave, start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(slave, termios.TIOCSCTTY, 0),
            env=dict(os.environ, TERM="xterm-256color", **dict(environment)),
        )
        self.screen, self.pictures, self.raw = Screen(), [], ""

    def stream(self, record, close):
        """Writes a record in real time."""

        def write():
            begun = time.monotonic()
            for index, block in enumerate(record.bytes()):
                time.sleep(max(0.0, begun + (index + 1) * BLOCK_S - time.monotonic()))
                try:
                    self.process.stdin.write(block)
                    self.process.stdin.flush()
                except BrokenPipeError:
                    return
            if close:
                self.process.stdin.close()

        threading.Thread(target=write, daemon=True).start()

    def watch(self, seconds, until=None):
        """Takes in what is drawn for so long, or until a text is on the screen."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            ready, _, _ = select.select([self.master], [], [], 0.05)
            if ready:
                try:
                    data = os.read(self.master, 65536)
                except OSError:
                    return False
                text = data.decode("utf-8", "replace")
                self.raw += text
                self.screen.feed(text)
                self.pictures.append(time.monotonic())
            if until and until in self.screen.text():
                return True
            if self.process.poll() is not None and not ready:
                return until is None
        return False

    def press(self, key):
        os.write(self.master, key)

    def end(self):
        self.watch(5.0)
        code = self.process.wait(timeout=10)
        after = termios.tcgetattr(self.slave)
        os.close(self.slave)
        os.close(self.master)
        return code, after[3] == self.before[3]


def shown(checks):
    session = Session()
    session.stream(RECORD, close=False)
    checks.that(session.watch(8.0, "999 000000004711"), f"the number is shown:\n{session.screen.text()}")
    begun = time.monotonic()
    session.pictures.clear()
    session.watch(1.5)
    seen = [at for at in session.pictures if at >= begun]
    checks.that(len(seen) >= 6, f"{len(seen)} pictures in 1.5 s, at least 6 are due")
    text = session.screen.text()
    for part in ("field", "of full scale peak", "Hz", "% of the field", "angle 40°", "dB", "peak", "q end"):
        checks.that(part in text, f"{part!r} is shown:\n{text}")
    # The stream has ended without being closed.
    checks.that(session.watch(6.0, "no samples for 2 s"), f"a stall is said:\n{session.screen.text()}")
    session.press(b" ")
    checks.that(session.watch(2.0, "held"), f"space holds:\n{session.screen.text()}")
    session.press(b" ")
    session.watch(1.0)
    checks.that("held" not in session.screen.text(), "space lets go")
    session.press(b"r")
    checks.that(session.watch(2.0, "peak    –"), f"r resets the peak:\n{session.screen.text()}")
    session.press(b"q")
    code, restored = session.end()
    checks.that(code == 0, f"q: exit {code}")
    checks.that(restored and session.screen.was_alternate and not session.screen.alternate, "q gives the terminal back")
    checks.that("summary" in session.raw and "999 000000004711" in session.raw.split("summary")[-1], "the summary follows")


def ends(checks):
    for name, do in (
        ("Ctrl-C", lambda session: session.press(b"\x03")),
        ("SIGTERM", lambda session: session.process.send_signal(signal.SIGTERM)),
        ("SIGINT", lambda session: session.process.send_signal(signal.SIGINT)),
    ):
        session = Session()
        session.stream(RECORD, close=False)
        session.watch(8.0, "999 000000004711")
        do(session)
        code, restored = session.end()
        checks.that(code == 0, f"{name}: exit {code}")
        checks.that(restored and not session.screen.alternate, f"{name} gives the terminal back")
        checks.that("summary" in session.raw, f"{name}: a summary")
    session = Session()
    session.stream(RECORD, close=True)
    code, restored = session.end() if session.watch(10.0) or True else None
    checks.that(code == 0 and restored and not session.screen.alternate, f"the end of the stream: exit {code}")


def lines_where_asked(checks):
    session = Session(words=("--json",))
    session.stream(RECORD, close=True)
    session.watch(10.0)
    code, _ = session.end()
    checks.that(code == 0 and not session.screen.was_alternate and '"number-read"' in session.raw, "--json prints lines on a terminal")
    session = Session(environment=(("NO_COLOR", "1"),))
    session.stream(RECORD, close=True)
    session.watch(10.0)
    session.end()
    checks.that(not re.search(r"\x1b\[3[1-7]|\x1b\[38", session.raw), "NO_COLOR: no colour")


def main():
    checks = Checks()
    shown(checks)
    ends(checks)
    lines_where_asked(checks)
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())

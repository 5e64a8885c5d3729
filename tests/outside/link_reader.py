#!/usr/bin/env python3
"""Links the receiver for a page: the linker named in READER_LLD, with nothing exported but what the page calls. A library for drawing would
export descriptions of all that a window can do, and these would stay in the module with everything that they name."""

import os
import sys

CALLED = {"room_for_question", "room_for_capture", "answer", "answer_at"}


def words(arguments):
    """The arguments, with files of arguments (@FILE, a line each) read."""
    for argument in arguments:
        if argument.startswith("@"):
            with open(argument[1:], encoding="utf-8") as file:
                yield from (line.rstrip("\n").replace("\\", "") for line in file)
        else:
            yield argument


def without_other_exports(arguments):
    kept = []
    arguments = iter(arguments)
    for argument in arguments:
        if argument == "--export":
            name = next(arguments)
            if name in CALLED:
                kept += [argument, name]
        elif not argument.startswith("--export=") or argument.split("=", 1)[1] in CALLED:
            kept.append(argument)
    return kept


if __name__ == "__main__":
    linker = os.environ["READER_LLD"]
    os.execv(linker, [linker, *without_other_exports(words(sys.argv[1:]))])

"""The child process: reads one picture from its input, writes the answer to its output, and ends."""

from __future__ import annotations

import sys

from portal.pictures import wire
from portal.pictures.bounds import keep_within
from portal.pictures.clean import clean
from portal.pictures.limits import MEMORY
from portal.rules.refusals import Unfit


def main() -> None:
    """Answer for the picture on standard input. What breaks here ends the process, and the parent says so."""
    keep_within(MEMORY)
    data = sys.stdin.buffer.read()
    try:
        answer = wire.write(clean(data))
    except Unfit as unfit:
        answer = wire.write(unfit)
    sys.stdout.buffer.write(answer)


if __name__ == "__main__":
    main()

"""The child process that draws on one picture: reads it from its input, writes the answer, and ends."""

from __future__ import annotations

import sys

from portal.pictures import wire
from portal.pictures.bounds import keep_within
from portal.pictures.drawing import draw
from portal.pictures.limits import MEMORY


def main() -> None:
    """Answer for the picture on standard input. What breaks here ends the process, and the parent says so."""
    keep_within(MEMORY)
    sys.stdout.buffer.write(wire.write(draw(*wire.read_drawing(sys.stdin.buffer.read()))))


if __name__ == "__main__":
    main()

"""The child process that draws on one picture: reads it from its input, writes the answer, and ends."""

from __future__ import annotations

import os
import resource
import sys

from portal.pictures import wire
from portal.pictures.drawing import draw
from portal.pictures.limits import ADDRESSES, MEMORY, SECONDS


def main() -> None:
    """Answer for the picture on standard input. What breaks here ends the process, and the parent says so."""
    os.nice(10)
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESSES, ADDRESSES))
    resource.setrlimit(resource.RLIMIT_DATA, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))  # a child has no file to write
    sys.stdout.buffer.write(wire.write(draw(*wire.read_drawing(sys.stdin.buffer.read()))))


if __name__ == "__main__":
    main()

"""The child process: reads one picture from its input, writes the answer to its output, and ends."""

from __future__ import annotations

import os
import resource
import sys

from portal.pictures import wire
from portal.pictures.clean import clean
from portal.pictures.limits import ADDRESSES, MEMORY, SECONDS
from portal.rules.refusals import Unfit


def main() -> None:
    """Answer for the picture on standard input. What breaks here ends the process, and the parent says so."""
    os.nice(10)
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESSES, ADDRESSES))
    resource.setrlimit(resource.RLIMIT_DATA, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))  # a child has no file to write
    data = sys.stdin.buffer.read()
    try:
        answer = wire.write(clean(data))
    except Unfit as unfit:
        answer = wire.write(unfit)
    sys.stdout.buffer.write(answer)


if __name__ == "__main__":
    main()

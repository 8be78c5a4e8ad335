"""The child process that aligns one pair: reads both pictures from its input, writes the answer, and ends."""

from __future__ import annotations

import os
import sys

os.environ["OPENBLAS_NUM_THREADS"] = "1"  # before numpy is loaded: each of its threads would take memory ahead

from portal.pictures import wire
from portal.pictures.align import align
from portal.pictures.bounds import keep_within
from portal.pictures.limits import ALIGNING_MEMORY


def main() -> None:
    """Answer for the pair on standard input. What breaks here ends the process, and the pair stays as it was taken."""
    keep_within(ALIGNING_MEMORY, addresses=None)
    before, after = wire.read_pair(sys.stdin.buffer.read())
    found = align(before, after)
    sys.stdout.buffer.write(wire.write(found) if found else wire.NOTHING)


if __name__ == "__main__":
    main()

"""Puts messages into a shop as fast as it is told to: a number on stdin, so many devices taken in, "done" on stdout.

Run by the interpreter under test (`python producer.py DATA`), so that it works on an installed wheel.
"""

from __future__ import annotations

import sys
from pathlib import Path

from portal.actions.desk import COMMAND
from portal.actions.intake import NewDevice, NewVisit, Second, take_in
from portal.main import open_installation


def main() -> None:
    """Take devices in until stdin ends; each is somebody else's, so that mails can be told apart by their address."""
    desk = open_installation(Path(sys.argv[1])).desk
    made = 0
    for line in sys.stdin:
        for _each in range(int(line)):
            # A second person gets no docket: making its PDF would take longer than sending.
            told = Second(name="Eve", email=f"eve{made}@example.org", may_be_told=True)
            take_in(desk, COMMAND, NewVisit([NewDevice("Handheld console", "")], second=told))
            made += 1
        sys.stdout.write("done\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()

"""Takes a photo in with too little room, or dies over it: `python -m tests.faults.photographer …`. Only tests run it.

Arguments: the database's URL, the folder of photos, the ticket's number, how it goes (`full:BYTES` for the largest file
that the system lets it write, or a step at which it is killed), and a file with the photo.
"""

from __future__ import annotations

import os
import resource
import signal
import sys
from datetime import datetime
from pathlib import Path
from random import Random

from sqlalchemy import Connection, event

from notifications.instants import FixedClock
from portal.actions import photos
from portal.actions.desk import COMMAND, Desk
from portal.links import Links
from portal.rules.refusals import Refused
from portal.store.engine import open_engine
from portal.store.photo_files import LARGE, SMALL, PhotoFiles
from tests.conftest import BASE_URL, SECRET


class DyingFiles(PhotoFiles):
    """A photo store whose process is killed before one of its steps, as if by a power cut."""

    def __init__(self, url: str, step: str) -> None:
        super().__init__(url)
        self._step = step

    def write(self, ref: str, size: str, content: bytes) -> None:
        if (self._step, size) in (("before any file", LARGE), ("between the files", SMALL)):
            die()
        if self._step == "inside a file" and size == SMALL:
            os.replace = die  # what was written has not got its name yet
        super().write(ref, size, content)
        if self._step == "before the row" and size == SMALL:
            die()


def die(*_arguments: object, **_options: object) -> None:
    """By a signal that nothing catches."""
    os.kill(os.getpid(), signal.SIGKILL)


def _die_writing(connection: Connection) -> None:
    if connection.get_execution_options().get("writing"):
        die()


def main(url: str, folder: str, number: str, how: str, photo: str) -> int:
    """Take it in; 0 when it was, 3 with the words on standard output when there was no room, 4 for another refusal."""
    desk = Desk(open_engine(url), FixedClock(datetime.fromisoformat("2026-03-02T10:00+00:00")), LINKS, Random())
    data = Path(photo).read_bytes()
    if how == "before the commit":
        event.listen(desk.engine, "commit", _die_writing)
    if how.startswith("full:"):
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # a write beyond the limit fails instead (setrlimit(2))
        most = int(how.removeprefix("full:"))
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
    try:
        photos.add(desk, DyingFiles(folder, how), COMMAND, number, data, confirmed=True)
    except photos.NoRoom as full:
        print(full)
        return 3
    except Refused as refused:
        print(refused)
        return 4
    return 0


LINKS = Links(BASE_URL, SECRET)

if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))

"""The ledger of what must not come back from an archive: erased data, withdrawn photos and consents, renewed links.

Random ids and times only, one JSON line each, in a file of its own: apart from the database, so that an old copy of
that cannot bring it back, and apart from the archives. Written before the deed commits: a line for a deed that was cut
short erases on restoring what somebody had asked to erase.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal, Protocol

What = Literal["visit", "second", "restricted", "objected", "photo", "publication", "docket", "contact"]


@dataclass(frozen=True)
class Line:
    """`version` is that of a renewed link, else 0."""

    at: datetime
    what: What
    ref: str
    version: int = 0


class Ledger(Protocol):
    """Where such lines are kept."""

    def note(self, line: Line) -> None: ...


class NoLedger:
    """Keeps nothing: for desks whose shop is never restored, like those of tests."""

    def note(self, line: Line) -> None:
        """Nothing happens."""


@dataclass(frozen=True)
class FileLedger:
    """A file of lines, appended to and never rewritten."""

    file: Path

    def note(self, line: Line) -> None:
        """Keep a line, on the disk before this returns."""
        text = json.dumps(asdict(line) | {"at": line.at.isoformat()}) + "\n"
        descriptor = os.open(self.file, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        try:
            os.write(descriptor, text.encode())
            os.fsync(descriptor)
        finally:
            os.close(descriptor)

    def since(self, moment: datetime) -> Iterator[Line]:
        """The lines from this moment on, the oldest first."""
        if not self.file.exists():
            return
        for text in self.file.read_text(encoding="ascii").splitlines():
            line = json.loads(text)
            at = datetime.fromisoformat(line["at"])
            if at >= moment:
                yield Line(at, line["what"], line["ref"], line["version"])

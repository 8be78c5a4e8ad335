"""Trying an archive out: brought back into a place of its own, looked over, and thrown away again.

A copy that was never read back is a hope. What is compared: each ticket's row with what its journal rebuilds, the
chains of proofs, and that each photo is there. Nothing is sent from there, and nothing of the shop is touched but the
memory of when it was tried.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, select

from portal.actions.archives import LEFT_OVER_AFTER, NoEncryption, newest
from portal.actions.desk import Desk
from portal.rules.numbers import spoken
from portal.rules.proof import first_broken
from portal.rules.stages import Event, rebuild
from portal.store import archive, house, journal, photos, questions, tickets
from portal.store.archive import Head, NotAnArchive
from portal.store.engine import open_engine, reading, sqlite_url
from portal.store.photo_files import SIZES, PhotoFiles
from portal.store.tables import tickets as ticket_rows

PREFIX = "benchwindow-trial-"  # of the temporary places


@dataclass(frozen=True)
class Tried:
    """What came of it: what the archive says of itself, how many tickets it holds, and what was wrong, if anything."""

    head: Head
    tickets: int
    faults: tuple[str, ...]


def try_out(desk: Desk, file: Path, identity: Path | None = None) -> Tried:
    """Bring an archive back into a temporary place and look it over; where nothing is wrong, remember when.

    An encrypted one needs the file with the age identity it was encrypted to. Raises NotAnArchive, NoEncryption, and
    OSError where there is no room.
    """
    with tempfile.TemporaryDirectory(prefix=PREFIX) as folder:
        place = Path(folder)
        plain = _decrypted(file, identity, place / "plain.sqlite") if file.suffix == ".age" else file
        tried = _tried(plain, place)
    if not tried.faults:
        with desk.writing() as connection:
            house.remember(connection, house.TRIED_AT, desk.clock.now())
    return tried


def forget_killed(now: datetime) -> int:
    """Remove the places of trials that were killed a day ago or more, and tell how many those were."""
    old = [
        place
        for place in Path(tempfile.gettempdir()).glob(f"{PREFIX}*")
        if now - datetime.fromtimestamp(place.stat().st_mtime, UTC) > LEFT_OVER_AFTER
    ]
    for place in old:
        shutil.rmtree(place, ignore_errors=True)
    return len(old)


def newest_of(folder: Path) -> Path:
    """The newest of the nightly archives. Raises NotAnArchive where there is none."""
    found = newest(folder)
    if found is None:
        raise NotAnArchive(f"There is no archive in {folder} yet.")
    return found


def _tried(plain: Path, place: Path) -> Tried:
    engine = open_engine(sqlite_url(place / "trial.db"), durable=False)
    files = PhotoFiles(str(place / "photos"))
    try:
        head = archive.restore(plain, engine, files)
        with reading(engine) as connection:
            numbers = connection.execute(select(ticket_rows.c.number).order_by(ticket_rows.c.id)).scalars().all()
            faults = [fault for number in numbers for fault in _faults(connection, files, number)]
    finally:
        engine.dispose()
    return Tried(head, len(numbers), tuple(faults))


def _faults(connection: Connection, files: PhotoFiles, number: str) -> Iterator[str]:
    """What is wrong with one ticket."""
    ticket = tickets.by_number(connection, number)
    if ticket is None:
        return
    entries = journal.entries(connection, ticket.id)
    # Of a ticket whose record has gone the journal has gone too; what was written since then begins later.
    if (
        entries
        and entries[0].entry == 1
        and rebuild(Event(entry.event, entry.data) for entry in entries) != ticket.standing
    ):
        yield f"{spoken(number)}: its journal tells another state than its row"
    broken = first_broken(questions.chain(connection, ticket.id))
    if broken is not None:
        yield f"{spoken(number)}: proof {broken + 1} does not hold"
    for photo in photos.of_ticket(connection, ticket.id):
        if any(files.read(photo.ref, size) is None for size in SIZES):
            yield f"{spoken(number)}: a photo is missing"


def _decrypted(file: Path, identity: Path | None, plain: Path) -> Path:
    if identity is None:
        raise NoEncryption(f"{file.name} is encrypted: name the file with the key, --identity FILE.")
    try:
        import pyrage
    except ImportError:
        raise NoEncryption("This needs the extra `archive-encryption`.") from None
    lines = [line for line in identity.read_text(encoding="ascii").splitlines() if line.startswith("AGE-SECRET-KEY-")]
    try:
        pyrage.decrypt_file(str(file), str(plain), [pyrage.x25519.Identity.from_str(line) for line in lines])
    except (pyrage.IdentityError, pyrage.DecryptError) as fault:
        raise NoEncryption(f"{file.name} cannot be decrypted with this key ({fault}).") from None
    return plain

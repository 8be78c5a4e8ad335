"""Archives: made at night and on demand, and an installation brought back from one, which starts held."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from notifications import outbox
from portal.actions import retention, rights
from portal.actions.desk import Desk, policy_in_force
from portal.rules.refusals import Refused
from portal.rules.retention import Kept
from portal.rules.rights import Right
from portal.rules.sentences import say
from portal.rules.stages import Ending
from portal.store import archive, house, photos, publication, purge, visits
from portal.store.archive import Head
from portal.store.ledger import FileLedger, Line
from portal.store.photo_files import PhotoFiles

NIGHT = 3  # o'clock in the shop's zone: nobody waits for the site then
LEFT_OVER_AFTER = timedelta(days=1)  # no archive takes so long to be made
_NAME = re.compile(r"(\d{4}-\d{2}-\d{2})\.sqlite(\.age)?")
# What an erasure takes; proof and money stay for their own periods (GDPR Art. 17(3)(b) and (e)).
ERASED_AT_ONCE = (Kept.CONTACT, Kept.POST_ADDRESS, Kept.DEVICE, Kept.PHOTO, Kept.PUBLICATION, Kept.PUSH, Kept.RECORD)


class NoEncryption(RuntimeError):
    """Archives are to be encrypted, and what it needs is missing or does not fit."""


def make(desk: Desk, files: PhotoFiles, file: Path) -> Head:
    """Write an archive now. Raises OSError where there is no room."""
    head = archive.write(desk.engine, files, file, desk.clock.now())
    with desk.writing() as connection:
        house.remember(connection, house.ARCHIVED_AT, head.made_at)
    return head


def nightly(desk: Desk, files: PhotoFiles, folder: Path, days: int, recipient: str, now: datetime) -> tuple[int, int]:
    """Make tonight's archive unless there is one, and drop those that are too old: (looked at, made and dropped).

    `days` 0 makes none. With a `recipient` it is encrypted to them (age). Raises NoEncryption.
    """
    dropped = drop_old(desk, folder, days, now)
    local = _local(desk, now)
    wanted = folder / f"{local.date().isoformat()}.sqlite{'.age' if recipient else ''}"
    if not days or local.hour < NIGHT or wanted.exists():
        return dropped, dropped
    folder.mkdir(mode=0o700, exist_ok=True)
    if recipient:
        plain = folder / ".tonight"
        try:
            make(desk, files, plain)
            _encrypt(plain, wanted, recipient)
        finally:
            plain.unlink(missing_ok=True)
    else:
        make(desk, files, wanted)
    return dropped + 1, dropped + 1


def drop_old(desk: Desk, folder: Path, days: int, now: datetime) -> int:
    """Drop the nightly archives that are older than so many days, and what a kill left of one; tell how many."""
    oldest = _local(desk, now).date() - timedelta(days=days)
    old = [file for file, day in _archives(folder) if day < oldest]
    old += [file for file in _leftovers(folder) if now - _written(file) > LEFT_OVER_AFTER]
    for file in old:
        file.unlink(missing_ok=True)
    return len(old)


def drop_all(folder: Path) -> int:
    """Drop every nightly archive, since each holds what was just erased; the next night makes a new one.

    One that is being made at this moment fails with it, and is made anew.
    """
    every = [file for file, _day in _archives(folder)] + _leftovers(folder)
    for file in every:
        file.unlink(missing_ok=True)
    return len(every)


def newest(folder: Path) -> Path | None:
    """The newest of the nightly archives, or None."""
    found = sorted(_archives(folder), key=lambda each: each[1])
    return found[-1][0] if found else None


def restore(desk: Desk, files: PhotoFiles, file: Path) -> Head:
    """Bring an archive into this empty installation, which starts held: nothing is sent until it is released.

    What was erased since the archive was made is erased again, what was restricted is only stored, withdrawn photos
    go, renewed links stay renewed, and what has outlived its period meanwhile goes, all before anybody sees a page.
    Raises NotAnArchive.
    """
    now = desk.clock.now()
    gone: list[str] = []

    def also(connection: Connection, head: Head) -> None:
        house.remember(connection, house.HELD_SINCE, now)
        if isinstance(desk.ledger, FileLedger):
            for line in desk.ledger.since(head.made_at):
                _apply(desk, connection, line, gone)

    head = archive.restore(file, desk.engine, files, also)
    for ref in gone:
        files.remove(ref)
    retention.apply(desk, files, now, most=2**31)
    return head


def release(desk: Desk, *, send: bool) -> int:
    """Let a restored installation go on: send the messages that waited, or drop them. Tells how many those were.

    Raises Refused for one that is not held.
    """
    now = desk.clock.now()
    with desk.writing() as connection:
        if house.when(connection, house.HELD_SINCE) is None:
            raise Refused(say("This installation is not held. There is nothing to release."))
        house.forget(connection, house.HELD_SINCE)
        return outbox.count_open(connection) if send else outbox.withdraw_all(connection, now, "dropped on restoring")


def _apply(desk: Desk, connection: Connection, line: Line, gone: list[str]) -> None:
    match line.what:
        case "visit":
            visit = visits.by_ref(connection, line.ref)
            if visit:
                retention.end_all(connection, visit.id, Ending.RETURNED, line.at)  # as it was by then
                visits.end_link_at(connection, visit.id, visit.link_ends_at or line.at)
                retention.erase_visit(connection, policy_in_force(connection), visit.id, ERASED_AT_ONCE, gone)
        case "second":
            if contact := visits.contact_by_ref(connection, line.ref):
                purge.second_person(connection, contact.id, contact.ref)
        case "restricted" | "objected":
            if visit := visits.by_ref(connection, line.ref):
                right = Right.RESTRICTION if line.what == "restricted" else Right.OBJECTION
                rights.again(desk, connection, visit.id, right, line.at)
        case "photo":
            gone += [line.ref, *photos.remove(connection, line.ref)]
        case "publication":
            publication.take_back(connection, line.ref, line.at)
        case _:
            visits.raise_versions(connection, line.what, line.ref, line.version)


def _local(desk: Desk, now: datetime) -> datetime:
    with desk.reading() as connection:
        return now.astimezone(ZoneInfo(desk.policy(connection).shop.zone))


def _archives(folder: Path) -> list[tuple[Path, date]]:
    if not folder.exists():
        return []
    found = [(file, _NAME.fullmatch(file.name)) for file in folder.iterdir()]
    return [(file, date.fromisoformat(name[1])) for file, name in found if name]


def _leftovers(folder: Path) -> list[Path]:
    """What is not whole: of an archive that is being made, or whose making was killed."""
    return sorted(folder.glob(".*")) if folder.exists() else []


def _written(file: Path) -> datetime:
    """When a file was last written to; at the end of time where it has gone meanwhile."""
    try:
        return datetime.fromtimestamp(file.stat().st_mtime, UTC)
    except FileNotFoundError:
        return datetime.max.replace(tzinfo=UTC)


def _encrypt(plain: Path, file: Path, recipient: str) -> None:
    try:
        import pyrage
    except ImportError:
        raise NoEncryption(
            "ARCHIVE_FOR needs the extra `archive-encryption`: pip install benchwindow[archive-encryption]"
        ) from None
    part = file.with_name(f".{file.name}.part")
    try:
        pyrage.encrypt_file(str(plain), str(part), [pyrage.x25519.Recipient.from_str(recipient)])
        part.replace(file)
    except pyrage.RecipientError as fault:
        raise NoEncryption(f"ARCHIVE_FOR is no age recipient ({fault}).") from None
    finally:
        part.unlink(missing_ok=True)

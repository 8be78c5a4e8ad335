"""Photos of a device: taken in clean, shown to whoever may see them, withdrawn for good.

Files are written before the row and removed after it, so that a row never points to a missing file; a file that no row
points to is swept up.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Literal

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, NotFound, Outcome, change_ticket, done_before, find
from portal.pictures.limits import Clean
from portal.pictures.worker import clean_in_child
from portal.rules.policy import Policy
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import line
from portal.rules.tokens import new_ref
from portal.store import photos
from portal.store.ledger import Line
from portal.store.photo_files import FULL, LARGE, SMALL, PhotoFiles
from portal.store.photo_tables import MOMENTS
from portal.store.photos import Photo
from portal.store.tickets import Ticket

ORPHAN_AFTER = timedelta(days=1)
MOST = 200  # of one ticket
Audience = Literal["bench", "customer"]


class NoRoom(Refused):
    """The photo store took no more; nothing was kept."""


class StoreAway(Refused):
    """The photo store does not answer; nothing was kept."""


def add(
    desk: Desk,
    files: PhotoFiles,
    by: By,
    number: str,
    data: bytes,
    *,
    moment: str = "other",
    caption: str = "",
    audience: Audience = "customer",
    confirmed: bool = False,
    deed_key: str | None = None,
) -> Outcome:
    """Take a photo in, cleaned; the customer is told of one of the shop's that is for them.

    The same `deed_key` again makes no second one.
    Raises Unfit for what is no picture, AskFirst for one that seems blurred or dark, Refused for an ended ticket,
    NoRoom where the store is full, StoreAway where it does not answer.
    """
    fit_moment(moment)
    words = line("caption", say("The caption"), caption)
    with desk.reading() as connection:
        ticket = find(connection, number)
        if done_before(connection, deed_key):
            return Outcome(ticket.number, ticket.revision, repeated=True)
    cleaned = clean_in_child(data)
    if not confirmed and (cleaned.seems_blurred or cleaned.seems_dark):
        raise AskFirst(_BLURRED if cleaned.seems_blurred else _DARK)
    return keep(desk, files, by, number, cleaned, moment=moment, caption=words, audience=audience, deed_key=deed_key)


def keep(
    desk: Desk,
    files: PhotoFiles,
    by: By,
    number: str,
    cleaned: Clean,
    *,
    moment: str = "other",
    caption: str = "",
    audience: Audience = "customer",
    deed_key: str | None = None,
) -> Outcome:
    """Keep a photo that is clean already, as `add` does."""

    def deed(ref: str) -> Outcome:
        return _add_row(desk, by, number, ref, moment, caption, audience, cleaned, deed_key)

    return with_files(desk, files, cleaned, deed)


def with_files(desk: Desk, files: PhotoFiles, cleaned: Clean, deed: Callable[[str], Outcome]) -> Outcome:
    """Do the deed that writes a new photo's row, under the ref it is handed; its files stay only where it was done."""
    ref = new_ref(desk.chooser)
    return with_pictures(files, {ref: cleaned}, lambda: deed(ref))


def with_pictures(files: PhotoFiles, pictures: Mapping[str, Clean], deed: Callable[[], Outcome]) -> Outcome:
    """Do the deed whose rows point to these new pictures, by ref; their files stay only where it was done."""
    kept = False
    try:
        for ref, picture in pictures.items():
            keep_files(files, ref, picture)
        outcome = deed()
        kept = not outcome.repeated
    finally:
        if not kept:
            for ref in pictures:
                let_go(files, ref)
    return outcome


def withdraw(desk: Desk, files: PhotoFiles, by: By, number: str, ref: str, *, deed_key: str | None = None) -> Outcome:
    """Take a photo away for good: row and files, its copies, and the pair it was in. The journal says so.

    Raises NotFound.
    """
    gone = [ref]

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        found_photo(connection, ticket, ref)

        def write(connection: Connection, _ticket: Ticket, now: datetime) -> None:
            gone.extend(photos.remove(connection, ref))
            desk.ledger.note(Line(now, "photo", ref))  # what hangs on it in an archive goes with it

        return Change([Event("photo_withdrawn")], audience="bench", write=write)

    outcome = change_ticket(desk, by, number, decide, deed_key=deed_key)
    for each in gone:
        let_go(files, each)
    return outcome


def found_photo(connection: Connection, ticket: Ticket, ref: str) -> Photo:
    """The photo of this ticket. Raises NotFound."""
    found = photos.by_ref(connection, ref)
    if found is None or found.ticket_id != ticket.id:
        raise NotFound(say("This repair has no such photo."))
    return found


def fit_moment(moment: str) -> None:
    """Raises Unfit (field "moment") for none of MOMENTS."""
    if moment not in MOMENTS:
        raise Unfit("moment", say("A photo is of {allowed}.", allowed=", ".join(MOMENTS)))


def must_take_more(connection: Connection, ticket: Ticket) -> None:
    """Raises Refused where the ticket has ended, or has as many photos as it may."""
    if ticket.ending:
        raise Refused(say("This ticket has ended. Its device is no longer in the shop."))
    if len(photos.of_ticket(connection, ticket.id)) >= MOST:
        raise Refused(say("A repair keeps at most {most} photos. Withdraw some first.", most=MOST))


def keep_files(files: PhotoFiles, ref: str, picture: Clean) -> None:
    """Write a picture in both sizes. Raises NoRoom or StoreAway; whoever calls lets go of what was half kept."""
    try:
        files.write(ref, LARGE, picture.large)
        files.write(ref, SMALL, picture.small)
    except OSError as fault:
        if fault.errno in FULL:
            raise NoRoom(say("There is no room for the photo. Nothing was kept; tell the keeper.")) from None
        raise StoreAway(_AWAY) from None


def let_go(files: PhotoFiles, ref: str) -> None:
    """Remove the files of a photo whose row is not there; where the store is away, the sweep does it another day."""
    with contextlib.suppress(OSError):
        files.remove(ref)


def sweep_up(desk: Desk, files: PhotoFiles, now: datetime) -> tuple[int, int]:
    """Remove files that no row has pointed to for a day: (looked at, removed)."""
    old = [(ref, path) for ref, path, written in files.all() if now - written > ORPHAN_AFTER]
    with desk.reading() as connection:
        known = photos.known(connection, sorted({ref for ref, _path in old if ref}))
    orphans = [path for ref, path in old if ref not in known]
    for path in orphans:
        files.remove_path(path)
    return len(old), len(orphans)


_BLURRED = say("This picture seems blurred. Take it again, or use it all the same.")
_AWAY = say(
    "The place where photos are kept does not answer. Nothing was kept; please send it again, and tell the keeper if "
    "it stays so."
)
_DARK = say("This picture seems very dark. Take it again with more light, or use it all the same.")


def row(ref: str, ticket: Ticket, cleaned: Clean, now: datetime) -> dict[str, object]:
    """The columns of a new photo that follow from the picture and from where its ticket stands."""
    return {
        "ref": ref,
        "ticket_id": ticket.id,
        "stage": ticket.stage,
        "width": cleaned.width,
        "height": cleaned.height,
        "taken_in_at": now,
    }


def _add_row(
    desk: Desk,
    by: By,
    number: str,
    ref: str,
    moment: str,
    caption: str,
    audience: Audience,
    cleaned: Clean,
    deed_key: str | None,
) -> Outcome:
    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        must_take_more(connection, ticket)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            values = row(ref, ticket, cleaned, now)
            photos.add(connection, values | {"moment": moment, "audience": audience, "caption": caption})

        return Change([Event("photographed", {"photo": ref, "moment": moment})], audience=audience, write=write)

    then = tell.noted if audience == "customer" and by.kind != "customer" else None
    return change_ticket(desk, by, number, decide, deed_key=deed_key, then=then)

"""A ring or an arrow on a copy of a photo points something out. The photo itself stays as it was taken."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket, done_before, find
from portal.actions.photos import Audience, found_photo, must_take_more, row, with_files
from portal.pictures.worker import draw_in_child
from portal.rules.picture_parts import POINTERS, Drawn, Part
from portal.rules.policy import Policy
from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import line
from portal.store import photos
from portal.store.photo_files import LARGE, PhotoFiles
from portal.store.tickets import Ticket


def point_out(
    desk: Desk,
    files: PhotoFiles,
    by: By,
    number: str,
    ref: str,
    drawn: str,
    parts: Sequence[Part],
    *,
    caption: str = "",
    audience: Audience = "customer",
    deed_key: str | None = None,
) -> Outcome:
    """Make a copy of a photo with a ring around each part, or an arrow to it (`drawn`, one of POINTERS).

    A copy of a copy is one of the original, with both. Raises NotFound, Unfit (fields "drawn", "caption",
    "photo"), and Refused, NoRoom and StoreAway as taking a photo in does.
    """
    if drawn not in POINTERS:
        raise Unfit("drawn", say("Choose what is drawn: a ring or an arrow."))
    words = line("caption", say("The caption"), caption)
    with desk.reading() as connection:
        ticket = find(connection, number)
        if done_before(connection, deed_key):
            return Outcome(ticket.number, ticket.revision, repeated=True)
        found_photo(connection, ticket, ref)
        must_take_more(connection, ticket)
    picture = draw_in_child(files.read(ref, LARGE) or b"", Drawn(drawn), parts)

    def deed(copy_ref: str) -> Outcome:
        def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
            shown = found_photo(connection, ticket, ref)
            must_take_more(connection, ticket)
            original = photos.copies(connection, ticket.id).get(ref)
            original_id = found_photo(connection, ticket, original).id if original else shown.id

            def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
                said = {"moment": shown.moment, "audience": audience, "caption": words or shown.caption}
                photos.add_copy(connection, row(copy_ref, ticket, picture, now) | said, original_id)

            return Change([Event("photo_pointed_out", {"photo": copy_ref})], audience=audience, write=write)

        return change_ticket(
            desk, by, number, decide, deed_key=deed_key, then=tell.noted if audience == "customer" else None
        )

    return with_files(desk, files, picture, deed)

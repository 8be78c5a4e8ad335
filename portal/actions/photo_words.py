"""What is said of a photo is put right afterwards: its caption, what it shows, of which stage, and who may see it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.actions.photos import fit_moment, found_photo
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import line
from portal.store import photo_pairs, photos
from portal.store.photos import Photo
from portal.store.tickets import Ticket


def describe(
    desk: Desk,
    by: By,
    number: str,
    ref: str,
    moment: str,
    caption: str,
    stage: str,
    audience: str,
    *,
    deed_key: str | None = None,
) -> Outcome:
    """Change what is said of a photo. `stage` is a key of the policy's, "" for none; `audience` "bench" or "customer".

    The customer is told of one that is for them from then on. Raises NotFound, Unfit (fields "moment", "caption",
    "stage", "audience"), and Refused for a photo in a pair that would be of another moment.
    """
    fit_moment(moment)
    words = line("caption", say("The caption"), caption)
    if audience not in ("bench", "customer"):
        raise Unfit("audience", say("Choose who may see the photo: the customer too, or the bench only."))

    released: list[str] = []

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        photo = found_photo(connection, ticket, ref)
        if stage and stage != photo.stage and policy.stage(stage) is None:
            raise Unfit("stage", say("The shop has no such stage. Choose one of the list."))
        if moment != photo.moment and _is_paired(connection, photo):
            raise Refused(
                say("This photo is in a pair. Take that pair apart before you say that it shows something else.")
            )
        if photo.by_customer and audience == "bench":
            raise Unfit(
                "audience", say("The customer sent this photo, so it stays theirs to see. You may withdraw it.")
            )

        def write(connection: Connection, _ticket: Ticket, _now: datetime) -> None:
            values: dict[str, object] = {
                "moment": moment,
                "caption": words,
                "stage": stage or None,
                "audience": audience,
            }
            photos.change(connection, ref, values)

        if audience == photo.audience or audience == "bench":
            return Change([Event("photo_described", {"photo": photo.known_as})], audience="bench", write=write)
        released.append(ref)
        return Change([Event("photo_released", {"photo": photo.known_as})], write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        if released:
            tell.noted(connection, ticket, now)

    return change_ticket(desk, by, number, decide, deed_key=deed_key, then=then)


def _is_paired(connection: Connection, photo: Photo) -> bool:
    return any(photo.ref in (pair.before, pair.after) for pair in photo_pairs.of_ticket(connection, photo.ticket_id))

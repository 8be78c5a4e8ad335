"""Pairs of photos: made, laid over one another where that fits beyond doubt, and taken apart again."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, NotFound, Outcome, change_ticket, done_before, find
from portal.actions.photos import Audience, let_go, with_files
from portal.pictures.limits import Clean
from portal.pictures.worker import align_in_child
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.tokens import new_ref
from portal.store import photo_pairs, photos
from portal.store.photo_files import LARGE, PhotoFiles
from portal.store.photo_pairs import Pair
from portal.store.photos import Photo
from portal.store.tickets import Ticket


def make(
    desk: Desk, files: PhotoFiles, by: By, number: str, before: str, after: str, *, deed_key: str | None = None
) -> Outcome:
    """Make a pair of a photo from before and one from after, by their refs, and align it where it fits.

    Raises Unfit for a photo that is not this ticket's or not of its moment, Refused for one that is in a pair already,
    NoRoom and StoreAway as taking a photo in does.
    """
    with desk.reading() as connection:
        ticket = find(connection, number)
        if done_before(connection, deed_key):
            return Outcome(ticket.number, ticket.revision, repeated=True)
        _choose(connection, ticket, before, after)
    aligned = _aligned(files, before, after)  # outside of every transaction: it takes about a second
    return keep(desk, files, by, number, before, after, aligned, deed_key=deed_key)


def keep(
    desk: Desk,
    files: PhotoFiles,
    by: By,
    number: str,
    before: str,
    after: str,
    aligned: Clean | None,
    *,
    deed_key: str | None = None,
) -> Outcome:
    """Make a pair whose aligned picture is known already (None: there is none), as `make` does."""
    if aligned is None:
        return _add_row(desk, by, number, before, after, None, deed_key)

    def deed(aligned_ref: str) -> Outcome:
        return _add_row(desk, by, number, before, after, aligned_ref, deed_key)

    return with_files(desk, files, aligned, deed)


def show_as_taken(desk: Desk, by: By, number: str, ref: str, as_taken: bool, *, deed_key: str | None = None) -> Outcome:
    """Show the after picture as it was taken, or (False) as it was laid over the before picture. Raises NotFound."""

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if not _of(connection, ticket, ref).aligned_ref:
            raise Refused(say("The two photos of this pair could not be laid over one another."))

        def write(connection: Connection, _ticket: Ticket, _now: datetime) -> None:
            photo_pairs.show_as_taken(connection, ref, as_taken)

        return Change(
            [Event("photo_pair_shown", {"shown": "as taken" if as_taken else "aligned"})], audience="bench", write=write
        )

    return change_ticket(desk, by, number, decide, deed_key=deed_key)


def take_apart(desk: Desk, files: PhotoFiles, by: By, number: str, ref: str, *, deed_key: str | None = None) -> Outcome:
    """Make two photos of a pair again; the aligned picture is gone. Raises NotFound."""
    gone: list[str] = []

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        pair = _of(connection, ticket, ref)
        gone.extend(filter(None, [pair.aligned_ref]))

        def write(connection: Connection, _ticket: Ticket, _now: datetime) -> None:
            photo_pairs.remove(connection, ref)

        return Change([Event("photos_unpaired")], audience="bench", write=write)

    outcome = change_ticket(desk, by, number, decide, deed_key=deed_key)
    for aligned in gone:
        let_go(files, aligned)
    return outcome


def _aligned(files: PhotoFiles, before: str, after: str) -> Clean | None:
    below, above = files.read(before, LARGE), files.read(after, LARGE)
    return align_in_child(below, above) if below and above else None


def _choose(connection: Connection, ticket: Ticket, before: str, after: str) -> tuple[Photo, Photo]:
    chosen = _photo(connection, ticket, "before", before), _photo(connection, ticket, "after", after)
    taken = {ref for pair in photo_pairs.of_ticket(connection, ticket.id) for ref in (pair.before, pair.after)}
    if taken & {before, after}:
        raise Refused(say("One of these photos is in a pair already. Take that pair apart first."))
    return chosen


def _photo(connection: Connection, ticket: Ticket, moment: str, ref: str) -> Photo:
    found = photos.by_ref(connection, ref)
    if found is None or found.ticket_id != ticket.id or found.moment != moment:
        words = {
            "before": say("Please choose a photo from before the repair."),
            "after": say("Please choose a photo from after the repair."),
        }
        raise Unfit(moment, words[moment])
    return found


def _of(connection: Connection, ticket: Ticket, ref: str) -> Pair:
    pair = photo_pairs.by_ref(connection, ref)
    if pair is None or pair.ticket_id != ticket.id:
        raise NotFound(say("This repair has no such pair of photos."))
    return pair


def _add_row(
    desk: Desk, by: By, number: str, before: str, after: str, aligned_ref: str | None, deed_key: str | None
) -> Outcome:
    ref = new_ref(desk.chooser)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        first, second = _choose(connection, ticket, before, after)
        both: Audience = "customer" if first.audience == second.audience == "customer" else "bench"

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            photo_pairs.add(
                connection,
                {
                    "ref": ref,
                    "ticket_id": ticket.id,
                    "before_id": first.id,
                    "after_id": second.id,
                    "aligned_ref": aligned_ref,
                    "as_taken": False,
                },
            )

        return Change([Event("photos_paired", {"pair": ref})], audience=both, write=write)

    return change_ticket(desk, by, number, decide, deed_key=deed_key)

"""Parts of a photo are hidden for good: burnt into every picture that shows the same, which then has a new name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket, done_before, find
from portal.actions.photos import found_photo, let_go, with_pictures
from portal.pictures.limits import Clean
from portal.pictures.worker import align_in_child, draw_in_child
from portal.rules.picture_parts import Drawn, Part
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.tokens import new_ref
from portal.store import photo_pairs, photos
from portal.store.ledger import Line
from portal.store.photo_files import LARGE, PhotoFiles
from portal.store.photo_pairs import Pair
from portal.store.photos import Photo
from portal.store.tickets import Ticket


def hide(
    desk: Desk,
    files: PhotoFiles,
    by: By,
    number: str,
    ref: str,
    parts: Sequence[Part],
    *,
    release: bool = False,
    deed_key: str | None = None,
) -> Outcome:
    """Hide parts of a photo in every size, in its original and its copies, and in what is laid over one of them.

    The old files are gone at once. With `release` a photo of the bench is for the customer from then on, who is told.
    Raises NotFound, Unfit where the picture could not be drawn on, Refused where the photos changed meanwhile, and
    NoRoom and StoreAway as taking a photo in does.
    """
    with desk.reading() as connection:
        ticket = find(connection, number)
        if done_before(connection, deed_key):
            return Outcome(ticket.number, ticket.revision, repeated=True)
        showing = _showing(connection, ticket, ref)
    anew = _drawn_anew(desk, files, showing, parts)  # outside of every transaction: it takes about a second

    def deed() -> Outcome:
        return _write(desk, by, number, ref, showing, anew, release, deed_key)

    outcome = with_pictures(files, anew.pictures, deed)
    if not outcome.repeated:
        for old in [photo.ref for photo in showing.photos] + [pair.aligned_ref for pair in showing.pairs]:
            if old:
                let_go(files, old)
    return outcome


@dataclass(frozen=True)
class _Showing:
    """All that shows what a photo shows: the original with its copies, and the pairs these are in."""

    photos: tuple[Photo, ...]
    pairs: tuple[Pair, ...]


@dataclass(frozen=True)
class _Anew:
    """The pictures that take their place, by their new refs; which ref becomes which, and what is laid over by pair."""

    pictures: dict[str, Clean]
    names: dict[str, str]
    aligned: dict[str, str | None]


def _showing(connection: Connection, ticket: Ticket, ref: str) -> _Showing:
    found_photo(connection, ticket, ref)
    copies = photos.copies(connection, ticket.id)
    original = copies.get(ref, ref)
    refs = {original} | {copy for copy, of in copies.items() if of == original}
    return _Showing(
        tuple(photo for photo in photos.of_ticket(connection, ticket.id) if photo.ref in refs),
        tuple(pair for pair in photo_pairs.of_ticket(connection, ticket.id) if refs & {pair.before, pair.after}),
    )


def _drawn_anew(desk: Desk, files: PhotoFiles, showing: _Showing, parts: Sequence[Part]) -> _Anew:
    names = {photo.ref: new_ref(desk.chooser) for photo in showing.photos}
    pictures = {
        names[photo.ref]: draw_in_child(files.read(photo.ref, LARGE) or b"", Drawn.HIDDEN, parts)
        for photo in showing.photos
    }
    aligned: dict[str, str | None] = {}
    for pair in showing.pairs:
        both = [
            pictures[names[ref]].large if ref in names else files.read(ref, LARGE) for ref in (pair.before, pair.after)
        ]
        # Where it fits no more, both are shown as they were taken.
        laid = align_in_child(both[0], both[1]) if pair.aligned_ref and both[0] and both[1] else None
        aligned[pair.ref] = new_ref(desk.chooser) if laid else None
        if laid:
            pictures[str(aligned[pair.ref])] = laid
    return _Anew(pictures, names, aligned)


def _write(
    desk: Desk,
    by: By,
    number: str,
    ref: str,
    showing: _Showing,
    anew: _Anew,
    release: bool,
    deed_key: str | None,
) -> Outcome:
    photo = next(each for each in showing.photos if each.ref == ref)
    releases = release and photo.audience == "bench"

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if _showing(connection, ticket, ref) != showing:
            raise Refused(say("This photo was changed at this very moment. Nothing was hidden; please try again."))

        def write(connection: Connection, _ticket: Ticket, now: datetime) -> None:
            for old, new in anew.names.items():
                photos.rename(connection, old, new)
                desk.ledger.note(Line(now, "photo", old))  # an archive holds it as it was
            for pair, aligned in anew.aligned.items():
                photo_pairs.realign(connection, pair, aligned)
            if releases:
                photos.change(connection, anew.names[ref], {"audience": "customer"})

        events = [Event("photo_parts_hidden", {"photo": photo.known_as})]
        if releases:
            events.append(Event("photo_released", {"photo": photo.known_as}))
        return Change(events, audience="customer" if releases else "bench", write=write)

    return change_ticket(desk, by, number, decide, deed_key=deed_key, then=tell.noted if releases else None)

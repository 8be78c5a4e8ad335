"""The photos that are meant for the customer: before and after, side by side."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Response, abort, render_template, url_for
from flask.typing import ResponseReturnValue

from portal.store import photo_pairs, tickets
from portal.store import photos as store
from portal.store.photo_pairs import Pair
from portal.store.photos import Photo
from portal.store.tickets import Ticket
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.photo_answers import picture
from portal.web.request_context import connection


@dataclass(frozen=True)
class Shown:
    """What a customer sees of one ticket: pairs with their before and after, and the photos that are in none."""

    ticket: Ticket
    pairs: list[tuple[Pair, Photo, Photo]]
    photos: list[Photo]


@blueprint.get("/t/<token>/photos")
def photos(token: str) -> ResponseReturnValue:
    """All photos of the visit that are for its customer; a before and an after that are a pair together."""
    visit = look_up(token).reader.visit
    shown = [_shown(ticket) for ticket in tickets.of_visit(connection(), visit.id)]
    back = url_for(".docket", token=token)
    return render_template("customer/photos.html", shown=shown, token=token, back=back)


@blueprint.get("/t/<token>/photos/<ref>-<size>.jpg")
def photo(token: str, ref: str, size: str) -> Response:
    """One photo, where it is this visit's and for its customer."""
    visit = look_up(token).reader.visit
    found = store.for_customer(connection(), visit.id, ref) or photo_pairs.for_customer(connection(), visit.id, ref)
    if found is None:
        abort(404)
    return picture(ref, size)


def _shown(ticket: Ticket) -> Shown:
    photos = {photo.ref: photo for photo in store.of_ticket(connection(), ticket.id) if photo.audience == "customer"}
    pairs = [
        (pair, photos[pair.before], photos[pair.after])
        for pair in (photo_pairs.of_ticket(connection(), ticket.id) if photos else ())
        if pair.before in photos and pair.after in photos
    ]
    paired = {photo.ref for _pair, *both in pairs for photo in both}
    return Shown(ticket, pairs, [photo for photo in photos.values() if photo.ref not in paired])

"""The photos that are meant for the customer: before and after, side by side."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import partial

from flask import Response, abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import publication as deeds
from portal.actions.desk import CUSTOMER, find
from portal.actions.links import Reader
from portal.rules.numbers import spoken
from portal.rules.publication import ALLOWS
from portal.store import photo_pairs, publication, tickets
from portal.store import photos as store
from portal.store.photo_pairs import Pair
from portal.store.photos import Photo
from portal.store.tickets import Ticket
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.doing import attempt_on_ticket
from portal.web.forms import Answer, deed_key_typed, new_deed_key, typed
from portal.web.photo_answers import picture
from portal.web.request_context import connection, desk, refresh, speaking


@dataclass(frozen=True)
class Shown:
    """What a customer sees of one ticket: pairs with their before and after, and the photos that are in none."""

    ticket: Ticket
    pairs: list[tuple[Pair, Photo, Photo]]
    photos: list[Photo]


@dataclass(frozen=True)
class Asked:
    """Whether a device may be published: since when (None: not), the words of it, and whether the reader may say so."""

    number: str
    device: str
    since: datetime | None
    words: str
    may_say: bool


@blueprint.get("/t/<token>/photos")
def photos(token: str) -> ResponseReturnValue:
    """All photos of the visit that are for its customer; a before and an after that are a pair together."""
    return _page(token, look_up(token).reader, Answer())


@blueprint.post("/t/<token>/photos/<number>/publication")
def say_publication(token: str, number: str) -> ResponseReturnValue:
    """They allow that pictures or film of a device are published, or take that back."""
    reader = look_up(token).reader
    ticket = find(connection(), number)
    if ticket.visit_id != reader.visit.id:
        abort(404)
    if not _may_say(reader):
        abort(403)
    deed = partial(deeds.allow, tag=speaking().tag) if typed("may") == "yes" else deeds.take_back
    answer = attempt_on_ticket(lambda: deed(desk(), CUSTOMER, number, deed_key=deed_key_typed()))
    if answer.done:
        chosen = request.args.get("lang")
        return redirect(url_for("customer.photos", token=token, lang=chosen, _anchor="publication"), 303)
    refresh()
    return _page(token, look_up(token).reader, answer)


@blueprint.get("/t/<token>/photos/<ref>-<size>.jpg")
def photo(token: str, ref: str, size: str) -> Response:
    """One photo, where it is this visit's and for its customer."""
    visit = look_up(token).reader.visit
    found = store.for_customer(connection(), visit.id, ref) or photo_pairs.for_customer(connection(), visit.id, ref)
    if found is None:
        abort(404)
    return picture(ref, size)


def _page(token: str, reader: Reader, answer: Answer) -> ResponseReturnValue:
    found = tickets.of_visit(connection(), reader.visit.id)
    page = render_template(
        "customer/photos.html",
        shown=[_shown(ticket) for ticket in found],
        asked=[_asked(ticket, reader) for ticket in found if ticket.stage],
        token=token,
        back=url_for(".docket", token=token),
        answer=answer,
        deed_key=new_deed_key(),
    )
    return page, answer.status


def _may_say(reader: Reader) -> bool:
    return reader.contact is None or reader.contact.may_agree


def _asked(ticket: Ticket, reader: Reader) -> Asked:
    consent = publication.standing(connection(), ticket.id)
    return Asked(
        spoken(ticket.number),
        ticket.device,
        consent.given_at if consent else None,
        consent.shown if consent else speaking().say(ALLOWS),
        _may_say(reader),
    )


def _shown(ticket: Ticket) -> Shown:
    photos = {photo.ref: photo for photo in store.of_ticket(connection(), ticket.id) if photo.audience == "customer"}
    pairs = [
        (pair, photos[pair.before], photos[pair.after])
        for pair in (photo_pairs.of_ticket(connection(), ticket.id) if photos else ())
        if pair.before in photos and pair.after in photos
    ]
    paired = {photo.ref for _pair, *both in pairs for photo in both}
    return Shown(ticket, pairs, [photo for photo in photos.values() if photo.ref not in paired])

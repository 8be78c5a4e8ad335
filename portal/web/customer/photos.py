"""The photos that are meant for the customer: before and after, side by side."""

from __future__ import annotations

from flask import Response, abort, render_template, url_for
from flask.typing import ResponseReturnValue

from portal.store import photos as store
from portal.store import tickets
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.photo_answers import picture
from portal.web.request_context import connection


@blueprint.get("/t/<token>/photos")
def photos(token: str) -> ResponseReturnValue:
    """All photos of the visit that are for its customer."""
    visit = look_up(token).reader.visit
    shown = [
        (ticket, [photo for photo in store.of_ticket(connection(), ticket.id) if photo.audience == "customer"])
        for ticket in tickets.of_visit(connection(), visit.id)
    ]
    back = url_for(".docket", token=token)
    return render_template("customer/photos.html", shown=shown, token=token, back=back)


@blueprint.get("/t/<token>/photos/<ref>-<size>.jpg")
def photo(token: str, ref: str, size: str) -> Response:
    """One photo, where it is this visit's and for its customer."""
    visit = look_up(token).reader.visit
    if store.for_customer(connection(), visit.id, ref) is None:
        abort(404)
    return picture(ref, size)

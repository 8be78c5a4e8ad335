"""A phone as a camera: the page at the desk that a phone is told to follow, and the page on the phone.

Nobody else's desk is followed, and nothing is remembered of which ticket was open but the one that is.
"""

from __future__ import annotations

from flask import jsonify, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import camera as deeds
from portal.actions.desk import find
from portal.qr import svg
from portal.rules.numbers import parse_number, spoken
from portal.rules.photo_moments import MOMENT_WORDS
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.forms import DeedForm, checked_form, new_deed_key
from portal.web.request_context import connection, desk, speaking


@blueprint.get("/<number>/camera")
def camera_at_desk(number: str) -> ResponseReturnValue:
    """The code that a phone reads, and whether it follows this desk."""
    address = desk().links.camera()
    return render_template(
        "bench/camera_at_desk.html",
        ticket=find(connection(), number),
        address=address,
        code=svg(address.upper(), label=speaking().gettext("QR code")),
        csrf=DeedForm(),
    )


@blueprint.post("/<number>/camera")
def point_camera(number: str) -> ResponseReturnValue:
    """Point the phone at this ticket, and from now on at whatever this device opens: its script posts here too."""
    checked_form()
    canonical = spoken(parse_number(number))
    deeds.point(desk(), guard.me().login, canonical)
    if request.accept_mimetypes.best == "application/json":
        return "", 204
    return redirect(url_for(".camera_at_desk", number=canonical), 303)


@blueprint.post("/camera/stop")
def stop_camera() -> ResponseReturnValue:
    """The phone follows nothing any more."""
    checked_form()
    deeds.stop(desk(), guard.me().person)
    return redirect(url_for(".open_tickets"), 303)


@blueprint.get("/camera")
def camera() -> ResponseReturnValue:
    """The phone's page: which ticket it is pointed at, and the shutter."""
    return render_template(
        "bench/camera.html",
        ticket=_pointed_at(),
        moments=MOMENT_WORDS,
        deed_key=new_deed_key(),
        csrf=DeedForm(),
    )


@blueprint.get("/camera/at")
def camera_at() -> ResponseReturnValue:
    """For the page's script: the ticket it is pointed at just now; empty for none."""
    found = _pointed_at()
    return jsonify(number=spoken(found.number) if found else "", device=found.device if found else "")


def _pointed_at() -> Ticket | None:
    return deeds.pointed_at(connection(), guard.me().person, desk().clock.now())

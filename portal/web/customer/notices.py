"""Notices on a customer's own device: which of them show any, and the script that shows them.

Who left no address, or only the phone that lies on the bench, comes by the docket's link: nobody can send them another.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import date
from typing import NamedTuple

from flask import Response, abort, current_app, url_for
from flask.typing import ResponseReturnValue

from notifications.channels.push.sealing import Device
from portal.actions import pushes as listening
from portal.rules.wording import briefly
from portal.store import pushes, visits
from portal.store.visits import Contact, Visit
from portal.web.choosing import push_channel
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.forms import new_deed_key, typed
from portal.web.request_context import connection, desk, policy, speaking

WORKER = "notices_worker.js"
PAPER = "#f6f0e3"  # as in paper.css


class Shows(NamedTuple):
    """A device that shows notices: its public id, the day since when, and a mark that it knows itself by."""

    ref: str
    since: date
    mark: str


class Notices(NamedTuple):
    """What the page says of notices. `key` is what a browser must know to listen to this shop."""

    key: str
    devices: Sequence[Shows]
    deed_key: str


def notices(contact: Contact) -> Notices | None:
    """What the page says of a contact's notices, or None where the shop sends none."""
    way = push_channel()
    if way is None:
        return None
    known = pushes.of_contact(connection(), contact.id) if contact.has_push else []
    shows = [Shows(each.ref, speaking().local(each.since).date(), _mark(each.device)) for each in known]
    return Notices(way.public_key, shows, new_deed_key())


def _mark(device: Device) -> str:
    """Of the endpoint, so that the page does not hold it: SHA-256 in hexadecimal digits."""
    return hashlib.sha256(device.endpoint.encode()).hexdigest()


def reader_of(token: str) -> tuple[Visit, Contact]:
    """Whose choices a link leads to, and their visit: their own, or the docket's of whoever can be sent no other.

    The docket's link is everybody's, so it leads to no other's. Answers 404.
    """
    shown = look_up(token)
    contact = shown.reader.contact
    if contact is None and shown.owner_is_alone and push_channel():
        contact = next(each for each in visits.contacts_of(connection(), shown.reader.visit.id) if each.role == "owner")
    if contact is None:
        abort(404)
    return shown.reader.visit, contact


@blueprint.get("/t/" + WORKER)
def notices_worker() -> Response:
    """The script that shows notices. It lies where all customers' pages do, since it may open no others."""
    answer = current_app.send_static_file(WORKER)
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@blueprint.post("/t/notices/moved")
def notices_moved() -> ResponseReturnValue:
    """The script says that its browser listens under another endpoint. It has no link, but knows the old one."""
    way = push_channel()
    if way is not None:
        listening.move(desk(), typed("old"), Device(typed("endpoint"), typed("key"), typed("secret")), way)
    return "", 204


@blueprint.get("/t/<token>/app.json")
def app_manifest(token: str) -> ResponseReturnValue:
    """What makes the page an app on the home screen: iPhones show notices for those only."""
    reader_of(token)
    page, name = url_for("customer.docket", token=token), policy().shop.name
    return {
        "name": name,
        "short_name": briefly(name),
        "lang": speaking().tag,
        "start_url": page,
        "scope": page,
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": PAPER,
        "icons": [_icon("icon-192.png", 192), _icon("icon-512.png", 512), _icon("icon-512-cut.png", 512, "maskable")],
    }


def _icon(name: str, size: int, purpose: str = "any") -> dict[str, str]:
    source = url_for("static", filename=name)
    return {"src": source, "sizes": f"{size}x{size}", "type": "image/png", "purpose": purpose}

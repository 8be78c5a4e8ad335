"""`/try`, in a demo only: bench, keeper and customer side by side, so that a new user sees what one does to the others.

Each side is the real page in a frame. The staff's sides are shown to whoever is logged in as the demo's keeper; its
password is no secret, and its shop is invented.
"""

from __future__ import annotations

import hashlib
import tomllib
from dataclasses import dataclass

from flask import Blueprint, Response, abort, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from flask_login import current_user
from markupsafe import Markup
from sqlalchemy import Connection

from notifications import outbox
from portal import resources
from portal.actions.desk import find
from portal.qr import svg
from portal.rules.numbers import spoken
from portal.rules.tokens import LinkKind
from portal.store import tickets, visits
from portal.store.tickets import OpenTicket, Ticket
from portal.store.visits import Contact, Visit
from portal.web import guard
from portal.web.request_context import connection, desk, policy

blueprint = Blueprint("trying", __name__, url_prefix="/try")


@dataclass(frozen=True)
class Sides:
    """A repair as three people see it. The addresses are paths: a frame must be of the address that was typed."""

    ticket: Ticket
    customer: str
    address: str  # the docket's link in full, for a phone
    code: Markup
    known: str  # what they are made of, in a word


@blueprint.before_request
def _door() -> ResponseReturnValue | None:
    return guard.keeper_only() if current_user.is_authenticated else _come_in()


@blueprint.get("/")
def start() -> ResponseReturnValue:
    """A repair on the bench about which nothing is being asked, to be tried out."""
    line = _to_try(connection())
    if line is None:
        abort(404)
    return redirect(url_for(".sides", number=spoken(line.ticket.number)))


@blueprint.get("/<number>")
def sides(number: str) -> ResponseReturnValue:
    """The three sides of one repair."""
    ticket = find(connection(), number)
    visit = visits.by_id(connection(), ticket.visit_id)
    owner = _owner(connection(), ticket)
    links = desk().links
    docket = links.customer(LinkKind.DOCKET, visit.ref, visit.docket_version)
    followed = links.customer(LinkKind.CONTACT, owner.ref, owner.link_version) if owner else docket
    shown = Sides(
        ticket=ticket,
        customer=followed.removeprefix(links.base_url),
        address=docket,
        code=svg(links.code(visit.ref, visit.docket_version)),
        known=_made_of(connection(), ticket, visit),
    )
    return render_template("trying/sides.html", page=shown)


@blueprint.get("/<number>/news")
def news(number: str) -> ResponseReturnValue:
    """What the repair's sides are made of, in a word: another word means that there is something new to show."""
    ticket = find(connection(), number)
    visit = visits.by_id(connection(), ticket.visit_id)
    return Response(_made_of(connection(), ticket, visit), mimetype="text/plain")


def _made_of(connection: Connection, ticket: Ticket, visit: Visit) -> str:
    messages = [(trace.id, trace.state) for trace in outbox.about(connection, [ticket.ref, visit.ref])]
    return hashlib.sha256(repr((ticket.revision, ticket.unread_since, messages)).encode()).hexdigest()


def _come_in() -> ResponseReturnValue:
    text = (resources.demo_shop() / "people.toml").read_text(encoding="utf-8")
    people = tomllib.loads(text)
    name, keeper = next((name, person) for name, person in people.items() if person["role"] == "keeper")
    return render_template("trying/come_in.html", name=name, password=keeper["password"])


def _to_try(connection: Connection) -> OpenTicket | None:
    """A repair in a middle stage that nothing holds up, whose owner can be asked: the one last moved."""
    middle = {stage.key for stage in policy().stages[1:-1]}
    free = [
        line
        for line in tickets.open_tickets(connection)
        if line.ticket.stage in middle and line.ticket.hold is None and _owner(connection, line.ticket)
    ]
    return max(free, key=lambda line: (line.ticket.stage_since, line.ticket.id), default=None)


def _owner(connection: Connection, ticket: Ticket) -> Contact | None:
    """The owner, where they can be asked."""
    found = visits.contacts_of(connection, ticket.visit_id)
    return next((each for each in found if each.role == "owner" and each.may_agree and each.email), None)

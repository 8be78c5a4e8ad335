"""The warranty card, to print and give with the device, in the customer's language."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from flask import abort, render_template
from flask.typing import ResponseReturnValue

from portal.actions.desk import find
from portal.actions.warranty import warranty_of
from portal.rules.afterwards import begins
from portal.rules.sentences import Sentence
from portal.store import visits
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.customer.languages import choices, choose
from portal.web.request_context import connection, policy, speaking


@dataclass(frozen=True)
class Card:
    """All that a printed warranty card shows."""

    ticket: Ticket
    since: date
    until: date
    sheet: str
    warnings: Sequence[Sentence] = ()


@blueprint.get("/<number>/warranty")
def warranty_card(number: str) -> ResponseReturnValue:
    """The card of a device that was repaired and has left; there is none for others."""
    ticket = find(connection(), number)
    until = warranty_of(ticket, policy())
    if until is None or ticket.ended_at is None:
        abort(404)
    shop = policy().shop
    choose(shop, visits.by_id(connection(), ticket.visit_id).language)
    since = speaking().local(begins(ticket.ended_at, ticket.delivered_on, shop.zone)).date()
    card = Card(ticket, since, until, sheet=f"docket-{policy().prints.docket}")
    return render_template("print/warranty.html", page=card, choices=choices)

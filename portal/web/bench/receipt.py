"""The receipt of a hand-over, to print and to give or to file, in the customer's language."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from flask import abort, render_template
from flask.typing import ResponseReturnValue

from portal.actions import balance
from portal.actions.desk import find
from portal.actions.warranty import warranty_of
from portal.rules.money import Price
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Ending
from portal.store import handovers, records, visits, wishes
from portal.store.handovers import HandedOver
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.customer.languages import choices, choose
from portal.web.request_context import connection, policy
from portal.web.signature import paths


@dataclass(frozen=True)
class Receipt:
    """All that a printed receipt shows. `came_with` are the items handed in, `money` how the account stands."""

    ticket: Ticket
    went: HandedOver
    came_with: Sequence[str]
    money: Sentence | None
    signature: Sequence[str]
    warranty_until: date | None
    sheet: str
    warnings: Sequence[Sentence] = ()


@blueprint.get("/<number>/receipt")
def receipt(number: str) -> ResponseReturnValue:
    """The receipt of a device that went over the counter; there is none for others."""
    ticket = find(connection(), number)
    went = handovers.newest(connection(), ticket.id) if ticket.ending is Ending.COLLECTED else None
    if went is None:
        abort(404)
    choose(policy().shop, visits.by_id(connection(), ticket.visit_id).language)
    version = records.newest(connection(), ticket.id)
    page = Receipt(
        ticket=ticket,
        went=went,
        came_with=[f"{each.count} × {each.what}" for each in version.record.items] if version else [],
        money=_money(ticket),
        signature=paths(wishes.signature(connection(), ticket.id, went.entry)),
        warranty_until=warranty_of(ticket, policy()),
        sheet=f"docket-{policy().prints.docket}",
    )
    return render_template("print/receipt.html", page=page, choices=choices)


def _money(ticket: Ticket) -> Sentence | None:
    """How the account stands; None where no money was ever spoken of."""
    account = balance.of(connection(), ticket, policy())
    if account.is_empty:
        return None
    if account.open_minor:
        return say("still to be paid: {price}", price=Price(account.open_minor, account.currency))
    if account.credit_minor:
        return say("we owe you back: {price}", price=Price(account.credit_minor, account.currency))
    return say("all paid")

"""`/t/<token>/report/<number>`: what we found, what we did, what we tested. It can be printed."""

from __future__ import annotations

from flask import render_template, url_for
from flask.typing import ResponseReturnValue

from portal.actions.desk import NotFound, find
from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.store.tickets import Ticket
from portal.web import report as told
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.languages import asked
from portal.web.request_context import connection


@blueprint.get("/t/<token>/report/<number>")
def report(token: str, number: str) -> ResponseReturnValue:
    """The report of one of the visit's devices."""
    found = ticket_of(look_up(token).reader.visit.id, number)
    return render_template("customer/report.html", printed=told.printed(found), back=back(token))


def ticket_of(visit_id: int, typed: str) -> Ticket:
    """One of the visit's tickets. Raises NotFound, with the same words for somebody else's and for none."""
    unknown = NotFound(say("This link has no such repair. Please open the page of your repair and go on from there."))
    try:
        found = find(connection(), typed)
    except (Unfit, NotFound):
        raise unknown from None
    if found.visit_id != visit_id:
        raise unknown
    return found


def back(token: str) -> str:
    """The address of the docket's page in the language chosen."""
    return url_for("customer.docket", token=token, lang=asked())

"""The customer is not satisfied: what they said, the day by which they have an answer, and the form for it."""

from __future__ import annotations

from functools import partial

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.actions import complaints as deeds
from portal.actions.desk import By, Desk, Outcome, find
from portal.store import complaints
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context, log
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, local_today

_LOG = ("complained", "complaint_answered", "complaint_closed")


@blueprint.get("/<number>/complaint")
def complaint(number: str) -> ResponseReturnValue:
    """The complaint that is open, and what was ever said."""
    return complaint_page(find(connection(), number))


@blueprint.post("/<number>/complaint")
def answer_complaint(number: str) -> ResponseReturnValue:
    """Answer it; with that it may be closed."""
    deed = partial(deeds.answer, words=typed("words"), closes=typed("closes") == "1")
    return do(number, "answer", deed, complaint_page, ".complaint")


@blueprint.post("/<number>/complaint/said")
def write_complaint_down(number: str) -> ResponseReturnValue:
    """The customer said so on the telephone or at the counter."""

    def deed(at: Desk, by: By, number: str, *, seen: int, deed_key: str | None) -> Outcome:
        return deeds.complain(at, number, typed("words"), by=by, seen=seen, deed_key=deed_key)

    return do(number, "said", deed, complaint_page, ".complaint")


@blueprint.post("/<number>/complaint/close")
def close_complaint(number: str) -> ResponseReturnValue:
    """It is settled."""
    return do(number, "close", deeds.close, complaint_page, ".complaint")


def complaint_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    answer = answer or Answer()
    page = render_template(
        "bench/complaint.html",
        ticket=found,
        complaint=complaints.open_of(connection(), found.id),
        today=local_today(),
        log=log(found, _LOG),
        **form_context(answer, form),
    )
    return page, answer.status

"""The parcel of an announced device is here: what was in it, against what was announced, and its damage."""

from __future__ import annotations

from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import announce as deeds
from portal.actions.desk import By, Desk, Outcome, find
from portal.rules.intake_record import Item
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.store import announcements
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection

SPARE_ROWS = 2


@blueprint.get("/<number>/receive")
def receive(number: str) -> ResponseReturnValue:
    """What was announced, and the form for what came; once it is here, how the two differ."""
    return receive_page(find(connection(), number))


@blueprint.post("/<number>/receive")
def receive_parcel(number: str) -> ResponseReturnValue:
    """Take the device in."""

    def deed(at: Desk, by: By, wanted: str, *, seen: int, deed_key: str | None) -> Outcome:
        do_it = partial(deeds.receive, parcel_damage=typed("parcel_damage"), seen=seen, deed_key=deed_key)
        return do_it(at, by, wanted, _typed())

    return do(number, "receive", deed, receive_page, ".receive")


def receive_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page; after a refusal with what was typed still in it. Raises Refused for a device not announced."""
    answer = answer or Answer()
    known = announcements.of_ticket(connection(), found.id)
    if known is None:
        raise Refused(say("This device was not announced. Take it in over the counter."))
    page = render_template(
        "bench/receive.html",
        ticket=found,
        announced=known,
        rows=_rows() if form else [(item.what, str(item.count)) for item in known.items],
        spare=SPARE_ROWS,
        differences=deeds.compared(connection(), found.id),
        **form_context(answer),
    )
    return page, answer.status


def _rows() -> list[tuple[str, str]]:
    return [
        (what, count)
        for what, count in zip(request.form.getlist("item"), request.form.getlist("count"), strict=False)
        if what.strip()
    ]


def _typed() -> list[Item]:
    """The things that came; a count left empty or 0 says that the thing was not in the parcel."""
    return [Item(what, count) for what, count in _rows() if count.strip() not in ("", "0")]

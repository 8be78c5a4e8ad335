"""`/bench/<number>/data`: what is held of a ticket's visit and until when, and what pauses its end."""

from __future__ import annotations

from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import pauses, restriction, rights
from portal.actions.desk import By, Desk, Outcome, find
from portal.actions.rights import Asked
from portal.rules.restriction import GROUND_WORDS, USE_WORDS
from portal.rules.rights import BY_STAFF, RIGHT_WORDS, STATE_WORDS, THROUGH_WORDS
from portal.store import rights as store
from portal.store import visits
from portal.store.tickets import Ticket
from portal.web import guard, notice
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, local_today, policy


@blueprint.get("/<number>/data")
def data(number: str) -> ResponseReturnValue:
    """What is held."""
    return data_page(find(connection(), number))


@blueprint.post("/<number>/data/pause")
def pause_data(number: str) -> ResponseReturnValue:
    """Keep something longer, because of a dispute or a claim."""
    if refused := guard.keeper_only():
        return refused
    deed = partial(pauses.pause, kinds=request.form.getlist("kinds"), reason=typed("reason"), until=typed("until"))
    return do(number, "pause", deed, data_page, ".data")


@blueprint.post("/<number>/data/let-go")
def end_pause(number: str) -> ResponseReturnValue:
    """Keep it no longer than usual."""
    if refused := guard.keeper_only():
        return refused
    return do(number, "let-go", partial(pauses.end_pause, kind=typed("kind")), data_page, ".data")


@blueprint.post("/<number>/data/allow")
def allow_uses(number: str) -> ResponseReturnValue:
    """Although the data is only stored: what its owner agreed to, or a claim needs."""
    deed = partial(restriction.allow_uses, uses=request.form.getlist("uses"), ground=typed("ground"), why=typed("why"))
    return do(number, "allow", deed, data_page, ".data")


@blueprint.post("/<number>/data/allow-no-more")
def end_use(number: str) -> ResponseReturnValue:
    """Not any more."""
    return do(number, "allow-no-more", partial(restriction.end_use, use=typed("use")), data_page, ".data")


@blueprint.post("/<number>/data/request")
def enter_request(number: str) -> ResponseReturnValue:
    """Somebody asked about their data at the counter, by letter or by telephone."""

    def deed(desk: Desk, by: By, number: str, seen: int | None, deed_key: str | None) -> Outcome:
        whose = typed("whose") or "owner"
        asked = Asked(typed("right"), typed("through"), typed("received_on"), number, typed("words"), whose)
        rights.enter(desk, by, asked, deed_key=deed_key)
        return Outcome(number, seen or 0)

    return do(number, "request", deed, data_page, ".data")


def data_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refused form with everything typed still in it."""
    answer = answer or Answer()
    visit = visits.by_id(connection(), found.visit_id)
    requests = store.of_visit(connection(), found.visit_id)
    text = render_template(
        "bench/data.html",
        ticket=found,
        held=notice.held(connection(), found.visit_id, policy(), local_today()),
        still_open=notice.still_open(connection(), found.visit_id, policy()),
        chosen=request.form.getlist("kinds"),
        may_pause=guard.me().is_keeper,
        restricted_at=visit.restricted_at,
        rights=RIGHT_WORDS,
        states=STATE_WORDS,
        throughs=THROUGH_WORDS,
        ways=BY_STAFF,
        requests=requests,
        may_be_second=any(each.role == "second" for each in visits.contacts_of(connection(), found.visit_id)),
        restrictions=[each for each in requests if each.restricts],
        allowed=store.allowed_uses_of(connection(), found.visit_id) if visit.restricted_at else [],
        uses=USE_WORDS,
        grounds=GROUND_WORDS,
        chosen_uses=request.form.getlist("uses"),
        today=local_today(),
        **form_context(answer, form),
    )
    return text, answer.status

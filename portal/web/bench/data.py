"""`/bench/<number>/data`: what is held of a ticket's visit and until when, and what pauses its end."""

from __future__ import annotations

from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import pauses
from portal.actions.desk import find
from portal.store.tickets import Ticket
from portal.web import guard, notice
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, policy


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


def data_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refused form with everything typed still in it."""
    answer = answer or Answer()
    text = render_template(
        "bench/data.html",
        ticket=found,
        held=notice.held(connection(), found.visit_id, policy()),
        chosen=request.form.getlist("kinds"),
        may_pause=guard.me().is_keeper,
        **form_context(answer, form),
    )
    return text, answer.status

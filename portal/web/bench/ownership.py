"""Whose is it? Somebody else says that a device is theirs: the log, and its end."""

from __future__ import annotations

from functools import partial

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.actions import ownership as deeds
from portal.actions.desk import find
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context, log
from portal.web.forms import Answer, typed
from portal.web.request_context import connection

LOG = ("ownership_questioned", "ownership_noted", "ownership_settled")


@blueprint.get("/<number>/ownership")
def ownership(number: str) -> ResponseReturnValue:
    """The log, the newest first, and what can be written into it."""
    return ownership_page(find(connection(), number))


@blueprint.post("/<number>/ownership")
def question_ownership(number: str) -> ResponseReturnValue:
    """Somebody else says that it is theirs."""
    return do(number, "question", partial(deeds.question, words=typed("words")), ownership_page, ".ownership")


@blueprint.post("/<number>/ownership/log")
def add_to_log(number: str) -> ResponseReturnValue:
    """Write down what was said or done."""
    return do(number, "log", partial(deeds.add_to_log, words=typed("words")), ownership_page, ".ownership")


@blueprint.post("/<number>/ownership/settle")
def settle_ownership(number: str) -> ResponseReturnValue:
    """The keeper says how it was settled."""
    return do(number, "settle", partial(deeds.settle, words=typed("words")), ownership_page, ".ticket")


def ownership_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    answer = answer or Answer()
    page = render_template(
        "bench/ownership.html",
        ticket=found,
        log=log(found, LOG),
        is_keeper=guard.me().is_keeper,
        **form_context(answer, form),
    )
    return page, answer.status

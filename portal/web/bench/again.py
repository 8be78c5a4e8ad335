"""A device comes back within its warranty: taken in as a repair linked to the earlier one; decided after looking."""

from __future__ import annotations

from functools import partial

from flask import redirect, render_template, url_for
from flask.typing import ResponseReturnValue

from portal.actions import warranty as deeds
from portal.actions.desk import find
from portal.actions.intake import TakenIn
from portal.rules.numbers import spoken
from portal.rules.warranty import VERDICT_WORDS, WAY_WORDS
from portal.store import warranty
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context, log
from portal.web.forms import Answer, attempt, checked_form, typed
from portal.web.request_context import connection, desk, local_today, policy, refresh

_LOG = ("came_back", "came_back_as", "fault_compared", "verdict_objected")


@blueprint.get("/<number>/again")
def again(number: str) -> ResponseReturnValue:
    """For a device that has left: the form to take it in again; for one that came back: what was found."""
    return again_page(find(connection(), number))


@blueprint.post("/<number>/again")
def take_in_again(number: str) -> ResponseReturnValue:
    """Take it in again, under a number of its own."""
    form = checked_form()
    seen, key = form.seen_revision(), form.key()
    deed = partial(deeds.take_back_in, desk(), guard.me().by, number, typed("fault"), seen=seen, deed_key=key)
    answer = attempt(deed)
    if answer.done:
        taken = answer.result
        assert isinstance(taken, TakenIn)
        return redirect(url_for(".taken_in", number=spoken(taken.numbers[0])), 303)
    refresh()
    return again_page(find(connection(), number), answer, "again")


@blueprint.post("/<number>/again/found")
def compare_faults(number: str) -> ResponseReturnValue:
    """Say, after looking, whether it is the same fault."""
    deed = partial(deeds.decide, verdict=typed("verdict"), way=typed("way"), words=typed("words"))
    return do(number, "found", deed, again_page, ".again")


def again_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    answer = answer or Answer()
    until = deeds.warranty_of(found, policy())
    page = render_template(
        "bench/again.html",
        ticket=found,
        came_back=warranty.of_ticket(connection(), found.id),
        later=warranty.later(connection(), found.id),
        until=until,
        is_within=until is not None and local_today() <= until,
        verdicts=VERDICT_WORDS,
        ways=WAY_WORDS,
        log=log(found, _LOG),
        **form_context(answer, form),
    )
    return page, answer.status

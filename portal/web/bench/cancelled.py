"""`/bench/<number>/cancelled`: a cancellation that came by letter, mail or telephone, with what follows from it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import MultiDict

from portal.actions import cancelled as deeds
from portal.actions.cancelled import Typed
from portal.actions.desk import find
from portal.rules.cancelled import HOW_WORDS, NO_ADVICE, START, Agreed, How, mark_of
from portal.rules.days import local_day
from portal.rules.money import Price
from portal.store import questions, refunds
from portal.store.questions import Kept
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, Filled, typed
from portal.web.request_context import connection, desk, policy, speaking


@blueprint.get("/<number>/cancelled")
def cancelled(number: str) -> ResponseReturnValue:
    """What can be cancelled, and what was."""
    return cancelled_page(find(connection(), number))


@blueprint.post("/<number>/cancelled")
def enter_cancellation(number: str) -> ResponseReturnValue:
    """Show what follows; once that was seen, enter it."""
    deed = partial(deeds.cancel, typed=_typed(), confirmed=typed("shown"))
    return do(number, "cancel", deed, cancelled_page, ".cancelled")


@blueprint.post("/<number>/cancelled/<ref>/take-back")
def take_cancellation_back(number: str, ref: str) -> ResponseReturnValue:
    """It was a mistake."""
    deed = partial(deeds.take_back, ref=ref, why=typed("why"))
    return do(number, f"back-{ref}", deed, cancelled_page, ".cancelled")


def cancelled_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    answer = answer or Answer()
    agreed, can_be = questions.agreed(connection(), found.id), deeds.cancellable(connection(), found)
    declared = [each for each in can_be if each.declared_on]
    page = render_template(
        "bench/cancelled.html",
        ticket=found,
        can_be=can_be,
        declared=declared,
        begins=_begins(declared, form),
        prices={kept.ref: _price(kept) for kept in agreed},
        was=[kept for kept in agreed if kept.cancelled_on and not kept.awaits_part],
        start=START,
        start_cancelled_on=questions.terms_cancelled_on(connection(), found.id),
        refund=refunds.of_ticket(connection(), found.id),
        currency=policy().shop.currency,
        how_words=HOW_WORDS,
        no_advice=NO_ADVICE,
        shown=mark_of(answer.reasons) if answer.ask_first else "",
        is_keeper=guard.me().is_keeper,
        done=request.args.get("done", ""),
        **form_context(answer, form),
    )
    return page, answer.status


def _price(kept: Kept) -> Price:
    """What something costs as it was agreed to."""
    return Price(
        kept.offer.total(kept.offer.option(kept.question.chosen or "")).amounts.gross, kept.offer.terms.currency
    )


def _begins(declared: Sequence[Agreed], form: str) -> Filled:
    """What the form begins with: what was typed; or what the customer pressed on their page, the oldest; or today."""
    if form == "cancel":
        return Filled(request.form)
    today = local_day(desk().clock.now(), policy()).isoformat()
    if not declared:
        return Filled({"sent_on": today, "heard_on": today})
    first = min(each.declared_on for each in declared if each.declared_on)
    pressed = MultiDict({"sent_on": first.isoformat(), "heard_on": first.isoformat(), "how": How.PAGE.value})
    pressed["words"] = speaking().gettext("The customer, by the button on their page")
    pressed.setlist("things", [each.ref for each in declared if each.declared_on == first])
    return Filled(pressed)


def _typed() -> Typed:
    refs = request.form.getlist("things")
    parts = {ref: typed(f"part-{ref}") for ref in refs}
    return Typed(typed("sent_on"), typed("heard_on"), typed("how"), typed("words"), refs, parts)

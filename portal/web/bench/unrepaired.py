"""`/bench/<number>/unrepaired`: a device goes back as it came; what is charged for it all the same, and what not."""

from __future__ import annotations

from functools import partial

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.actions import balance, handover
from portal.actions import questions as deeds
from portal.actions.desk import find
from portal.rules.account import CHARGED_AS_IT_CAME, FATE_WORDS, Fate
from portal.rules.cancellation import must_wait
from portal.rules.days import local_day
from portal.rules.giving_back import REASONS
from portal.store.questions import Kept
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, desk, policy


@blueprint.get("/<number>/unrepaired")
def unrepaired(number: str) -> ResponseReturnValue:
    """What is charged, and the form."""
    return unrepaired_page(find(connection(), number))


@blueprint.post("/<number>/unrepaired")
def return_unrepaired(number: str) -> ResponseReturnValue:
    """Give the device back as it came."""
    confirmed = typed("confirmed") == "1"
    deed = partial(handover.return_unrepaired, why=typed("why"), reason=typed("reason"), confirmed=confirmed)
    return do(number, "return", deed, unrepaired_page, ".ticket")


@blueprint.post("/<number>/unrepaired/<ref>/begun")
def had_begun(number: str, ref: str) -> ResponseReturnValue:
    """Work that was agreed to had begun, and nobody had marked it."""
    return do(number, "begun", partial(deeds.start_work, ref=ref), unrepaired_page, ".unrepaired")


def unrepaired_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    answer, rules = answer or Answer(), policy()
    page = render_template(
        "bench/unrepaired.html",
        ticket=found,
        agreed=[
            (kept, kept.offer.option(kept.question.chosen or ""), what, what is Fate.NOT_BEGUN and _may_begin(kept))
            for kept, what in balance.fates(connection(), found)
        ],
        account=balance.as_it_came(connection(), found, rules),
        fate_words=FATE_WORDS,
        charged=CHARGED_AS_IT_CAME,
        reasons_to_give_back=REASONS,
        **form_context(answer, form),
    )
    return page, answer.status


def _may_begin(kept: Kept) -> bool:
    return not must_wait(kept.cancel_until, kept.begin_early, local_day(desk().clock.now(), policy()))

"""`/check`: whether a printed report is the shop's, by its check code. Nothing is looked up, so nothing is told."""

from __future__ import annotations

from datetime import timedelta

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions.shelf import day
from portal.rules import throttle
from portal.rules.check_code import Judged, Paper, judge
from portal.rules.refusals import needs
from portal.rules.sentences import say
from portal.rules.text import line, passage
from portal.rules.throttle import TooOften
from portal.store import throttles
from portal.web.customer import blueprint
from portal.web.customer.languages import choose
from portal.web.forms import Answer, Filled, attempt, typed
from portal.web.request_context import desk, policy

MOST_FREELY = 20  # from one address; a shop's counter may check a pile
WINDOW = timedelta(minutes=10)
LONGEST = 20_000  # of a whole report's words


@blueprint.get("/check")
def check() -> ResponseReturnValue:
    """The form."""
    choose(policy().shop)
    return _page(Answer())


@blueprint.post("/check")
def check_report() -> ResponseReturnValue:
    """What the code says."""
    choose(policy().shop)
    answer = attempt(_judged)
    if answer.kind is TooOften:
        answer.status = 429
    return _page(answer)


def _judged() -> Judged:
    made_on = day("day", typed("day"))
    paper_words = passage("words", say("The words of the report"), typed("words"), limit=LONGEST)
    code = line("code", say("The check code"), typed("code"), limit=40, required=True)
    number = line("number", say("The number"), typed("number"), limit=40, required=True)
    if made_on is None:
        raise needs("day", say("The day"))
    key = throttle.key(desk().links.secret, "checks a report", request.remote_addr or "")
    with desk().writing() as connection:
        verdict = throttles.hit(connection, key, desk().clock.now(), MOST_FREELY, WINDOW)
    if verdict.retry_at:
        raise TooOften(verdict.retry_at)
    paper = Paper(number, line("device", say("The device"), typed("device")), made_on, paper_words)
    return judge(desk().links.secret, paper, code)


def _page(answer: Answer) -> ResponseReturnValue:
    judged = answer.result if isinstance(answer.result, Judged) else None
    page = render_template(
        "customer/check.html", answer=answer, judged=judged, typed=Filled(request.form), longest=LONGEST
    )
    return page, answer.status

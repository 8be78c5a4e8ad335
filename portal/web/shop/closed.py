"""Closed from one day to another: a banner for customers, and dates that move."""

from __future__ import annotations

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions.shelf import day
from portal.rules import policy_edit
from portal.rules.refusals import needs
from portal.rules.sentences import Sentence, say
from portal.web.forms import Answer, Filled, typed
from portal.web.request_context import local_today, policy
from portal.web.shop import blueprint
from portal.web.shop.proposal import edited, in_force, show


@blueprint.get("/closed")
def closed() -> ResponseReturnValue:
    """When the shop is closed, and the form for more."""
    return _page(Answer())


@blueprint.post("/closed")
def close() -> ResponseReturnValue:
    """Close the shop for some days."""

    def edit(text: str) -> str:
        first, last = (_needed_day(name, what) for name, what in _DAYS)
        note = {tag: " ".join(typed(f"note.{tag}").split()) for tag in policy().shop.languages}
        return policy_edit.close_shop(text, first, last, note)

    answer = edited(edit)
    return show(str(answer.result)) if answer.done else _page(answer)


@blueprint.post("/closed/open")
def reopen() -> ResponseReturnValue:
    """Take closed days back."""

    def edit(text: str) -> str:
        first, last = (_needed_day(name, what) for name, what in _DAYS)
        return policy_edit.reopen_shop(text, first, last)

    answer = edited(edit)
    return show(str(answer.result)) if answer.done else _page(answer)


_DAYS = (("first", say("The first day")), ("last", say("The last day")))


def _needed_day(name: str, what: Sentence):  # type: ignore[no-untyped-def]
    found = day(name, typed(name))
    if found is None:
        raise needs(name, what)
    return found


def _page(answer: Answer) -> ResponseReturnValue:
    today = local_today()
    spans = sorted(policy().hours.closed, key=lambda span: span.first)
    page = render_template(
        "shop/closed.html",
        answer=answer,
        typed=Filled(request.form),
        coming=[span for span in spans if span.last >= today],
        past=[span for span in spans if span.last < today][::-1],
        languages=policy().shop.languages,
        seen=in_force()[0],
    )
    return page, answer.status

"""Messages about questions of money: asked, reminded, answered, lapsed, withdrawn, and the code for an answer."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.actions.answers import code_of
from portal.letters.told import Facts, Letterbox, StillTrue, Told
from portal.rules.questions import YES, State
from portal.rules.tokens import LinkKind
from portal.store import questions
from portal.store.questions import Kept


def _put(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    kept = questions.by_ref(connection, told.facts[-1]["question"])
    if kept is None or kept.question.state is not State.PUT or kept.question.version != told.facts[-1]["version"]:
        return Withdrawn("the question waits for no answer any more")
    return _context(desk, connection, told, kept)


def _answered(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    kept = questions.by_ref(connection, told.facts[-1]["question"])
    if kept is None or kept.question.state.value != told.facts[-1]["state"]:
        return Withdrawn("the answer is another one by now")
    return _context(desk, connection, told, kept) | {"agreed": kept.question.state is State.AGREED}


def _over(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    kept = questions.by_ref(connection, told.facts[-1]["question"])
    if kept is None or kept.question.state not in (State.LAPSED, State.WITHDRAWN):
        return Withdrawn("the question is another one by now")
    return _context(desk, connection, told, kept)


def _code(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    facts = told.facts[-1]
    kept = questions.by_ref(connection, facts["question"])
    newest = questions.challenge(connection, kept.id) if kept else None
    if newest is None or newest.ref != facts["challenge"] or newest.used_at:
        return Withdrawn("the code is not the newest any more")
    return {"code": code_of(desk.links.secret, newest.ref), "until": datetime.fromisoformat(facts["until"])}


def _context(desk: Letterbox, connection: Connection, told: Told, kept: Kept) -> dict[str, object]:
    """What was asked, and the contact's own link for it."""
    ref = questions.is_asked(connection, kept.ref, told.contact.ref)
    chosen = kept.offer.option(kept.question.chosen) if kept.question.chosen else None
    context: dict[str, object] = {
        "offer": kept.offer,
        "totals": {option.key: kept.offer.total(option).amounts for option in kept.offer.options},
        "chosen": chosen,
        "is_estimate": kept.kind == "estimate",
        "answer_by": kept.question.answer_by,
        "yes": YES.get(told.visit.language.split("-")[0], YES["en"]),
    }
    if ref:
        context["link"] = desk.links.customer(LinkKind.QUESTION, ref, told.contact.link_version)
    return context


EVENTS: Mapping[str, StillTrue] = {
    "question_put": _put,
    "question_reminder": _put,
    "question_answered": _answered,
    "question_lapsed": _over,
    "question_withdrawn": _over,
    "question_code": _code,
}

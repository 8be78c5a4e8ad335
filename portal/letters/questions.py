"""Messages about questions of money: asked, reminded, answered, lapsed, withdrawn, and the code for an answer."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.actions.codes import code_of
from portal.letters.told import Facts, Letterbox, StillTrue, Told
from portal.rules.cancellation import Settled, of_document
from portal.rules.offers import shown_options
from portal.rules.price_terms import left
from portal.rules.questions import YES, State
from portal.rules.tokens import LinkKind
from portal.store import questions
from portal.store.questions import Kept


def _put(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    kept = questions.by_ref(connection, told.facts[-1]["question"])
    if kept is None or kept.question.state is not State.PUT or kept.question.version != told.facts[-1]["version"]:
        return Withdrawn("the question waits for no answer any more")
    return _context(desk, connection, told, kept) | {"anew": bool(told.facts[-1].get("anew"))}


def _answered(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    kept = questions.by_ref(connection, told.facts[-1]["question"])
    if kept is None or kept.question.state.value != told.facts[-1]["state"]:
        return Withdrawn("the answer is another one by now")
    proof = questions.newest_proof(connection, kept.ref)
    return _context(desk, connection, told, kept) | {
        "agreed": kept.question.state is State.AGREED,
        "through": kept.through,
        "digest": proof.digest if proof else "",
        "left": _left_of_limit(connection, kept),
        "cancelling": of_document(proof.document) if proof and kept.cancel_until else None,
    }


def _agreed_at_the_start(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket = told.tickets[0]
    terms = questions.terms(connection, ticket.id)
    if terms is None:
        return Withdrawn("the terms are no longer on file")
    charged = [kept for kept in questions.agreed(connection, ticket.id) if kept.kind in ("estimate", "looking")]
    context = _context(desk, connection, told, charged[0]) if terms.charges and charged else {"bill": None}
    return context | {"terms": terms.words(), "cancelling": _told_at_the_start(connection, ticket.id)}


def _told_at_the_start(connection: Connection, ticket_id: int) -> Settled | None:
    """What was told of cancelling when the price was agreed, and what they asked."""
    if questions.may_begin(connection, ticket_id)[0] is None:
        return None
    found = [of_document(proof.document) for proof in questions.chain(connection, ticket_id)]
    return next((each for each in found if each), None)


def _over(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    kept = questions.by_ref(connection, told.facts[-1]["question"])
    if kept is None or kept.question.state not in (State.LAPSED, State.WITHDRAWN):
        return Withdrawn("the question is another one by now")
    return _context(desk, connection, told, kept)


def _code(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    facts = told.facts[-1]
    kept = questions.by_ref(connection, facts["question"])
    newest = questions.CODES.newest(connection, kept.id) if kept else None
    if newest is None or newest.ref != facts["challenge"] or newest.used_at:
        return Withdrawn("the code is not the newest any more")
    return {"code": code_of(desk.links.secret, newest.ref)}


def _context(desk: Letterbox, connection: Connection, told: Told, kept: Kept) -> dict[str, object]:
    """What was asked, and the contact's own link for it."""
    ref = questions.is_asked(connection, kept.ref, told.contact.ref)
    shown = shown_options(kept.offer)
    context: dict[str, object] = {
        "offer": kept.offer,
        "options": shown,
        "bill": next((option for option in shown if option.key == kept.question.chosen), None),
        "is_estimate": kept.kind == "estimate",
        "answer_by": kept.question.answer_by,
        "yes": YES.get(told.visit.language.split("-")[0], YES["en"]),
    }
    if ref:
        context["link"] = desk.links.customer(LinkKind.QUESTION, ref, told.contact.link_version)
    return context


def _left_of_limit(connection: Connection, kept: Kept) -> int | None:
    """What is left of the customer's limit, where work was gone ahead with within it."""
    if kept.through != questions.LIMIT:
        return None
    used = questions.used_of_limit(questions.of_ticket(connection, kept.ticket_id))
    return left(questions.terms(connection, kept.ticket_id), used)


EVENTS: Mapping[str, StillTrue] = {
    "question_put": _put,
    "question_reminder": _put,
    "question_answered": _answered,
    "price_agreed": _agreed_at_the_start,
    "question_lapsed": _over,
    "question_withdrawn": _over,
    "question_code": _code,
}

"""`/t/<token>/question/<ref>`: a question about money, its answer, and what was answered.

Reading agrees to nothing, whoever reads: agreeing takes a typed word and a press of the button that says what it costs.
"""

from __future__ import annotations

from dataclasses import dataclass

from flask import abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import answers
from portal.actions.answers import Answer as Given
from portal.actions.answers import Through
from portal.actions.cancelling import told
from portal.actions.desk import NotFound, Outcome
from portal.rules.cancellation import of_document
from portal.rules.numbers import spoken
from portal.rules.offers import shown_options
from portal.rules.questions import CUSTOMER_STATE_WORDS, CUSTOMER_THROUGH_WORDS, KIND_WORDS, YES, State
from portal.rules.sentences import say
from portal.rules.tokens import LinkKind, read_token
from portal.store import photos, questions, tickets
from portal.store.questions import Kept
from portal.store.tickets import Ticket
from portal.web.customer import blueprint
from portal.web.customer.docket import build, look_up
from portal.web.customer.languages import asked
from portal.web.forms import Answer, attempt, deed_key_typed, new_deed_key, typed
from portal.web.request_context import connection, desk, local_today, policy, refresh, speaking


@dataclass(frozen=True)
class Reading:
    """A question as one reader has it: through which link they came, and whether they may answer."""

    kept: Kept
    ticket: Ticket
    through: Through
    may_answer: bool
    needs_code: bool

    @property
    def waits(self) -> bool:
        """Whether an answer is wanted now."""
        return self.kept.question.state is State.PUT and not self.ticket.ending

    @property
    def is_being_changed(self) -> bool:
        """Whether the shop is changing what was asked before."""
        return self.kept.question.state in (State.DRAFTED, State.AWAITING)


@blueprint.get("/t/<token>/question/<ref>")
def question(token: str, ref: str) -> ResponseReturnValue:
    """The question, or what was answered."""
    return _page(token, _read(token, ref), Answer())


@blueprint.post("/t/<token>/question/<ref>")
def answer_question(token: str, ref: str) -> ResponseReturnValue:
    """Yes to one option, or no."""
    reading = _read(token, ref)
    if not reading.may_answer:
        abort(403)
    answer = attempt(lambda: _answer(reading))
    return _after(token, ref, answer)


@blueprint.post("/t/<token>/question/<ref>/code")
def send_code(token: str, ref: str) -> ResponseReturnValue:
    """Send a code to the contact on file, for whoever holds the docket only."""
    reading = _read(token, ref)
    answer = attempt(lambda: answers.send_code(desk(), reading.ticket.number, ref))
    if answer.done:
        return redirect(url_for("customer.question", token=token, ref=ref, lang=asked(), code="sent"), 303)
    return _after(token, ref, answer)


@blueprint.post("/t/<token>/question/<ref>/back")
def take_back(token: str, ref: str) -> ResponseReturnValue:
    """Take a yes back, while the work has not begun."""
    reading = _read(token, ref)
    if not reading.may_answer:
        abort(403)
    given = Given(reading.kept.question.version, speaking().tag, through=reading.through, template=build())
    answer = attempt(lambda: answers.take_back(desk(), reading.ticket.number, ref, given, deed_key=deed_key_typed()))
    return _after(token, ref, answer)


def _answer(reading: Reading) -> Outcome:
    version = typed("version")
    wants = typed("answer") == "yes"
    through, challenge = reading.through, None
    if wants and reading.needs_code:
        challenge = answers.try_code(desk(), reading.kept.ref, typed("code"))
        through = "docket link and code"
    given = Given(
        version=int(version) if version.isdecimal() and len(version) < 6 else 0,
        language=speaking().tag,
        option=typed("option") if wants else None,
        word=typed("word")[:20],
        through=through,
        template=build(),
        challenge=challenge,
        begin=typed("begin"),
        told=typed("told"),
    )
    return answers.answer(desk(), reading.ticket.number, reading.kept.ref, given, deed_key=deed_key_typed())


def _after(token: str, ref: str, answer: Answer) -> ResponseReturnValue:
    if answer.done:
        return redirect(url_for("customer.question", token=token, ref=ref, lang=asked()), 303)
    refresh()
    return _page(token, _read(token, ref), answer)


def _read(token: str, ref: str) -> Reading:
    reader = look_up(token).reader
    kept = questions.by_ref(connection(), ref)
    ticket = tickets.by_id(connection(), kept.ticket_id) if kept else None
    if kept is None or ticket is None or ticket.visit_id != reader.visit.id or kept.put_at is None:
        raise NotFound(say("There is no such question here. Please open the page of your repair and go on from there."))
    through = _through(token, reader.question == ref)
    contact_ref = reader.contact.ref if reader.contact else None
    may = answers.may_answer(connection(), reader.visit.id, contact_ref, policy())
    return Reading(kept, ticket, through, may, answers.needs_code(policy(), kept, through))


def _through(token: str, for_this: bool) -> Through:
    kind = read_token(token).kind
    if kind is LinkKind.QUESTION and for_this:
        return "question link"
    return "docket link" if kind is LinkKind.DOCKET else "own link"


def _page(token: str, reading: Reading, answer: Answer) -> ResponseReturnValue:
    kept, language = reading.kept, speaking().tag
    shown = shown_options(kept.offer)
    taken = photos.of_ticket(connection(), reading.ticket.id) if kept.offer.photos else []
    proof = questions.newest_proof(connection(), kept.ref)
    page = render_template(
        "customer/question.html",
        reading=reading,
        kept=kept,
        ticket=reading.ticket,
        number=spoken(reading.ticket.number),
        options=shown,
        chosen=next((option for option in shown if option.key == kept.question.chosen), None),
        state=kept.question.state,
        State=State,
        state_words=CUSTOMER_STATE_WORDS,
        word=YES.get(language.split("-")[0], YES["en"]),
        photos=[photo for photo in taken if photo.known_as in kept.offer.photos and photo.audience == "customer"],
        kind=KIND_WORDS[kept.kind],
        through_words=CUSTOMER_THROUGH_WORDS,
        proof=proof,
        told=told(policy(), language, at_distance=kept.at_distance) if reading.waits else None,
        cancelling=of_document(proof.document) if proof and kept.cancel_until else None,
        over=kept.cancel_until is not None and local_today() > kept.cancel_until,
        typed_begin=typed("begin"),
        token=token,
        answer=answer,
        typed_option=typed("option"),
        code_sent=request.args.get("code") == "sent",
        deed_key=new_deed_key(),
        back=url_for("customer.docket", token=token, lang=asked(), all=1),
    )
    return page, answer.status

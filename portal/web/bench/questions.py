"""`/bench/<number>/questions`: the price for a repair and more work found: drafted, put, answered, begun."""

from __future__ import annotations

from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import answers, price_terms
from portal.actions import questions as deeds
from portal.actions.cancelling import came_unmet, told
from portal.actions.desk import By, Desk, Outcome, find
from portal.actions.price_terms import TypedTerms
from portal.rules.offers import TypedOffer, shown_options
from portal.rules.price_terms import WAY_WORDS, left
from portal.rules.questions import BENCH_KIND_WORDS, OPEN, STATE_WORDS, THROUGH_WORDS, State
from portal.store import questions as store
from portal.store import visits
from portal.store.tickets import Ticket
from portal.web import offers
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, at_wall, typed
from portal.web.request_context import connection, policy


@blueprint.get("/<number>/questions")
def questions(number: str) -> ResponseReturnValue:
    """What was asked, and the form for something new."""
    return questions_page(find(connection(), number))


@blueprint.post("/<number>/questions")
def ask_customer(number: str) -> ResponseReturnValue:
    """Write a question: as a draft, or put at once."""
    offer, kind, at_once = offers.from_form(), typed("kind") or "extra", typed("how") != "draft"

    def deed(desk: Desk, by: By, number: str, *, seen: int | None, deed_key: str | None) -> Outcome:
        if typed("how") == "limit":
            return price_terms.go_ahead(desk, by, number, offer, seen=seen, deed_key=deed_key).outcome
        asked = deeds.draft(
            desk,
            by,
            number,
            offer,
            kind=kind,
            put_at_once=at_once,
            at_distance=typed("at_distance") == "1",
            seen=seen,
            deed_key=deed_key,
        )
        return asked.outcome

    return do(number, "ask", deed, questions_page, ".questions")


@blueprint.get("/<number>/questions/<ref>")
def question(number: str, ref: str) -> ResponseReturnValue:
    """One question, to be changed."""
    found = find(connection(), number)
    return question_page(found, ref, Answer())


@blueprint.post("/<number>/questions/<ref>/change")
def change_question(number: str, ref: str) -> ResponseReturnValue:
    """Change what is asked; what was put already is asked anew."""
    deed = partial(deeds.change, ref=ref, typed=offers.from_form())

    def again(found: Ticket, answer: Answer, _form: str) -> ResponseReturnValue:
        return question_page(found, ref, answer)

    return do(number, "change-question", deed, again, ".questions")


@blueprint.post("/<number>/questions/<ref>/put")
def put_question(number: str, ref: str) -> ResponseReturnValue:
    """Put a draft to the customer, or to the keeper first."""
    return do(number, "put", partial(deeds.put, ref=ref), questions_page, ".questions")


@blueprint.post("/<number>/questions/<ref>/withdraw")
def withdraw_question(number: str, ref: str) -> ResponseReturnValue:
    """Take a question back."""
    return do(number, "withdraw", partial(deeds.withdraw, ref=ref), questions_page, ".questions")


@blueprint.post("/<number>/questions/<ref>/begin")
def begin_agreed(number: str, ref: str) -> ResponseReturnValue:
    """The work that was agreed to begins."""
    return do(number, "begin", partial(deeds.start_work, ref=ref), questions_page, ".questions")


@blueprint.post("/<number>/questions/<ref>/said")
def record_answer(number: str, ref: str) -> ResponseReturnValue:
    """Write down what the customer said by telephone or at the counter."""
    option, when = typed("option") or None, typed("said_at")

    def deed(desk: Desk, by: By, number: str, *, seen: int | None, deed_key: str | None) -> Outcome:
        said_at = at_wall("said_at", when) if when else None
        how, who, begin = typed("by_way"), typed("who"), typed("begin")
        return answers.record(
            desk, by, number, ref, option, how, who, said_at=said_at, begin=begin, seen=seen, deed_key=deed_key
        )

    return do(number, f"said-{ref}", deed, questions_page, ".questions")


@blueprint.post("/<number>/price")
def agree_price(number: str) -> ResponseReturnValue:
    """Write down what was agreed about the price."""
    terms = TypedTerms(typed("price_way"), typed("price_amount"), typed("price_what"))
    deed = partial(price_terms.agree_terms, typed=terms, how=typed("by_way"), who=typed("who"), begin=typed("begin"))
    return do(number, "price", deed, questions_page, ".questions")


def questions_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refused form with everything typed still in it."""
    answer = answer or Answer()
    new = offers.from_form() if form == "ask" else TypedOffer()
    found_questions = store.of_ticket(connection(), found.id)
    terms, used = store.terms(connection(), found.id), store.used_of_limit(found_questions)
    text = render_template(
        "bench/questions.html",
        ticket=found,
        asked=[(kept, shown_options(kept.offer)) for kept in reversed(found_questions)],
        terms=terms,
        used=used,
        left=left(terms, used),
        ways=WAY_WORDS,
        told=told(policy(), visits.by_id(connection(), found.visit_id).language, at_distance=True),
        unmet=came_unmet(connection(), found.id),
        offer_form=offers.form(found, new),
        kind_words=BENCH_KIND_WORDS,
        through_words=THROUGH_WORDS,
        State=State,
        OPEN=OPEN,
        state_words=STATE_WORDS,
        ask_answer=answer if form == "ask" else Answer(),
        done=request.args.get("done", ""),
        **form_context(answer, form),
    )
    return text, answer.status


def question_page(found: Ticket, ref: str, answer: Answer) -> ResponseReturnValue:
    """One question's form."""
    kept = deeds.of(connection(), found, ref)
    shown = offers.from_form() if request.method == "POST" else offers.as_typed(kept)
    text = render_template(
        "bench/question.html",
        ticket=found,
        kept=kept,
        offer_form=offers.form(found, shown),
        State=State,
        **form_context(answer),
    )
    return text, answer.status

"""Answers to questions about money: yes or no, by page, telephone or counter; taken back; lapsed; each proven.

A yes is an express one (Directive 2011/83/EU Art. 8(2), 22, 27), bound to the version that was shown. The proof holds
the exact offer, what was answered, when and through what, and no contact data. Not legal advice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sqlalchemy import Connection

from portal.actions import balance, codes, tell
from portal.actions.cancelling import settled, told
from portal.actions.desk import CLOCK, CUSTOMER, By, Change, Desk, Outcome, Stale, change_ticket
from portal.actions.proving import prove_answer
from portal.actions.questions import hold_events, must_win, of
from portal.rules import questions as rules
from portal.rules.answer_times import remind_at
from portal.rules.cancellation import Settled
from portal.rules.days import local_day
from portal.rules.money import to_minor
from portal.rules.policy import Policy
from portal.rules.questions import Question, State
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event, must_be_here
from portal.rules.text import line
from portal.store import questions, visits
from portal.store.questions import Kept
from portal.store.tickets import Ticket

Through = Literal["question link", "own link", "docket link", "docket link and code", "telephone", "counter"]
RETRIES = 5  # of a customer's answer, when the bench does something else on the ticket at that moment


@dataclass(frozen=True)
class Answer:
    """What a customer sends: the option agreed to (None: no), the version they read, the word they typed, the language.

    `template` names the wording of the page that was shown; `challenge` is that of the code, where one was needed.
    `begin` is when the work may begin and `told` the mark of what was shown of cancelling, where that is asked.
    """

    version: int
    language: str
    option: str | None = None
    word: str = ""
    through: Through = "question link"
    template: str = ""
    challenge: int | None = None
    begin: str = ""
    told: str = ""


def answer(desk: Desk, number: str, ref: str, given: Answer, *, deed_key: str | None = None) -> Outcome:
    """The customer answers. Raises Unfit (fields "word", "begin"), or Refused with what was already decided."""

    def decide(question: Question, now: datetime) -> Question:
        if given.option is None:
            return rules.decline(question, given.version, now)
        return rules.agree(question, given.option, given.version, given.word, given.language, now)

    return with_retries(lambda: _settle(desk, CUSTOMER, number, ref, decide, given, deed_key=deed_key))


def record(
    desk: Desk,
    by: By,
    number: str,
    ref: str,
    option: str | None,
    how: str,
    who: str,
    *,
    said_at: datetime | None = None,
    begin: str = "",
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Staff write down an answer given by telephone or at the counter, who gave it to whom, and when (None: now).

    `begin` is when the customer wants the work to begin, where that is asked. The customer is told and may object.
    Raises Unfit (fields "how", "who", "said_at", "begin"), Refused as `answer` does.
    """
    if how not in ("telephone", "counter"):
        raise Unfit("how", say("An answer is given by telephone or at the counter."))
    said = line("who", say("Who said it, and to whom"), who, required=True)
    now = desk.clock.now()
    if said_at is not None and said_at > now:
        raise Unfit("said_at", say("That time is still to come."))
    with desk.reading() as connection:
        kept = questions.by_ref(connection, ref)
        language = desk.policy(connection).shop.languages[0]
    given = Answer(kept.question.version if kept else 0, language, option, "", how, begin=begin)  # type: ignore[arg-type]

    def decide(question: Question, _now: datetime) -> Question:
        if said_at is not None and kept and kept.put_at and said_at < kept.put_at:
            raise Unfit("said_at", say("At that time the question had not been asked yet."))
        if option is None:
            return rules.decline(question, given.version, said_at or now)
        return rules.agree(question, option, given.version, rules.YES["en"], "en", said_at or now)

    return _settle(desk, by, number, ref, decide, given, text=said, said_at=said_at, seen=seen, deed_key=deed_key)


def take_back(desk: Desk, number: str, ref: str, given: Answer, *, deed_key: str | None = None) -> Outcome:
    """The customer takes a yes back. Raises Refused once the work has begun."""

    def decide(question: Question, _now: datetime) -> Question:
        return rules.take_back(question)

    return with_retries(
        lambda: _settle(desk, CUSTOMER, number, ref, decide, given, name="yes_taken_back", deed_key=deed_key)
    )


def lapse(desk: Desk, now: datetime, most: int = 500) -> tuple[int, int]:
    """Unanswered questions whose time has passed lapse: nothing is done, nothing charged. (looked at, lapsed)"""
    with desk.reading() as connection:
        due = questions.lapsing(connection, now, most)
    lapsed = 0
    for number, ref in due:
        try:
            _lapse(desk, number, ref, now)
            lapsed += 1
        except (Refused, Stale):  # answered at this very moment
            continue
    return len(due), lapsed


def remind(desk: Desk, now: datetime, most: int = 500) -> tuple[int, int]:
    """Remind of questions that nobody answered yet, once each: (looked at, reminded)."""
    with desk.reading() as connection:
        policy = desk.policy(connection)
        waiting = questions.not_reminded(connection, now, most)
    due = [ref for ref, put_at in waiting if (at := remind_at(put_at, policy)) and at <= now]
    reminded = 0
    for ref in due:
        with desk.writing() as connection:
            kept = questions.by_ref(connection, ref)
            if kept and kept.question.state is State.PUT and questions.change(connection, kept, {"reminded_at": now}):
                tell.question_reminder(connection, kept, now)
                reminded += 1
    return len(due), reminded


def needs_code(policy: Policy, kept: Kept, through: Through) -> bool:
    """Whether this way of coming asks for a code: the docket's link alone, above the policy's amount."""
    return through == "docket link" and kept.offer.dearest() > to_minor(
        policy.approvals.code_above, policy.shop.currency
    )


def send_code(desk: Desk, number: str, ref: str) -> None:
    """Send a six-digit code to the contact on file. Raises Refused where nobody can be sent one."""
    now = desk.clock.now()
    with desk.writing() as connection:
        kept = questions.by_ref(connection, ref)
        if kept is None or kept.question.state is not State.PUT:
            raise Refused(say("This question waits for no answer."))
        made = codes.make(desk, connection, questions.CODES, kept.id, now)
        if not tell.question_code(connection, kept, made, now):
            raise codes.nobody()


def try_code(desk: Desk, ref: str, typed: str) -> int:
    """The challenge that a code answers, to be used up by the answer itself. Raises Unfit (field "code")."""
    with desk.reading() as connection:
        kept = questions.by_ref(connection, ref)
    return codes.try_code(desk, questions.CODES, kept.id if kept else None, typed).id


def _settle(
    desk: Desk,
    by: By,
    number: str,
    ref: str,
    decide_question: Callable[[Question, datetime], Question],
    given: Answer,
    *,
    name: str = "",
    text: str = "",
    said_at: datetime | None = None,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    now = desk.clock.now()
    before: list[Kept] = []

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        kept = of(connection, ticket, ref)
        before[:] = [kept]
        after = decide_question(kept.question, now)
        cancelling = None
        if after.chosen is not None:
            kept.offer.option(after.chosen)  # an option that is not shown is refused
            cancelling = _cancelling(connection, by, ticket, kept, given, policy, said_at or now)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            _write(
                connection,
                ticket,
                kept,
                after,
                name or after.state.value,
                given,
                now,
                said_at=said_at,
                cancelling=cancelling,
            )

        event = Event(name or after.state.value, {"question": ref} | ({"option": after.chosen} if after.chosen else {}))
        events = [event, *hold_events(ticket, connection, ref, after.state)]
        return Change(events, text=text, audience="bench" if text else "customer", write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        kept, policy = questions.by_ref(connection, ref), desk.policy(connection)
        # Whoever takes a yes back that was given at a distance cancels, and has back what they paid for it.
        cancels = name == "yes_taken_back" and before[0].cancel_until is not None
        balance.keep_account(connection, ticket, policy, now, heard_on=local_day(now, policy) if cancels else None)
        if kept:
            tell.question_answered(connection, ticket, kept, now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def _cancelling(
    connection: Connection, by: By, ticket: Ticket, kept: Kept, given: Answer, policy: Policy, agreed_at: datetime
) -> Settled | None:
    """What goes with a yes at a distance; staff say it in the customer's language, who reads it afterwards.

    Whoever says yes at the counter is met there, wherever the question was asked.
    """
    at_distance = kept.at_distance and given.through != "counter"
    if by == CUSTOMER:
        shown = told(policy, given.language, at_distance=at_distance)
        return settled(shown, given.begin, agreed_at, policy, mark=given.told)
    tag = visits.by_id(connection, ticket.visit_id).language
    return settled(told(policy, tag, at_distance=at_distance), given.begin, agreed_at, policy)


def _lapse(desk: Desk, number: str, ref: str, now: datetime) -> None:
    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        kept = of(connection, ticket, ref)
        after = rules.lapse(kept.question, now)
        if after is None:
            raise Refused(say("This question has been answered already."))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            _write(connection, ticket, kept, after, "lapsed", None, now)

        return Change(
            [Event("lapsed", {"question": ref}), *hold_events(ticket, connection, ref, after.state)], write=write
        )

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        kept = questions.by_ref(connection, ref)
        if kept and not ticket.ending:  # whoever has the device back need not hear that nothing more is done
            tell.question_lapsed(connection, ticket, kept, now)

    change_ticket(desk, CLOCK, number, decide, then=then)


def _write(
    connection: Connection,
    ticket: Ticket,
    kept: Kept,
    after: Question,
    answered: str,
    given: Answer | None,
    now: datetime,
    *,
    said_at: datetime | None = None,
    cancelling: Settled | None = None,
) -> None:
    values: dict[str, object] = {"state": after.state.value, "chosen": after.chosen, "settled_at": now}
    values |= cancelling.columns() if cancelling else {"cancel_until": None, "begin_early": None}
    used = given.challenge if given else None
    if used is not None:
        codes.use(connection, questions.CODES, used, now)
    must_win(questions.change(connection, kept, values | {"through": given.through if given else None}))
    more: dict[str, object] = {
        "language": given.language if given else None,
        "word": given.word if given else None,
        "through": given.through if given else None,
        "template": given.template if given else None,
        "said_at": said_at.isoformat() if said_at else None,
    }
    if cancelling:
        more["cancelling"] = cancelling.facts()
    prove_answer(connection, ticket, kept, answered, after.chosen, now, more)


def with_retries(deed: Callable[[], Outcome]) -> Outcome:
    """A customer's answer is bound to the question's version; what else happens on the ticket is no matter to it."""
    for _try in range(RETRIES):
        try:
            return deed()
        except Stale:
            continue
    return deed()


def may_answer(connection: Connection, visit_id: int, contact_ref: str | None, policy: Policy) -> bool:
    """Whether whoever holds this link may answer: a contact who may agree, or the docket where the policy lets it."""
    contacts = visits.contacts_of(connection, visit_id)
    if contact_ref is not None:
        return any(contact.ref == contact_ref and contact.may_agree for contact in contacts)
    reachable = any(contact.may_agree and contact.reachable for contact in contacts)
    return reachable or policy.approvals.docket_may_answer

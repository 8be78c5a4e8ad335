"""Asking before it costs: a question is drafted, looked at by the keeper where the policy says so, and put.

Every deed changes the question's row under a guard, writes a journal entry and the messages in one transaction. While a
question waits for somebody its ticket is on hold for approval.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Literal, NamedTuple

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.cancelling import came_unmet
from portal.actions.desk import By, Change, Desk, NotFound, Outcome, change_ticket, find
from portal.actions.people import is_keeper, only_keeper
from portal.rules import questions as rules
from portal.rules.answer_times import answer_by
from portal.rules.cancellation import must_not_wait
from portal.rules.days import local_day
from portal.rules.money import to_minor
from portal.rules.offers import TypedOffer, fit, to_data
from portal.rules.policy import Policy
from portal.rules.questions import OPEN, Offer, State, Terms
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event, Hold, must_be_here
from portal.rules.text import line
from portal.rules.tokens import new_ref
from portal.store import people, photos, questions, visits
from portal.store.questions import Kept
from portal.store.tickets import Ticket

KINDS = ("estimate", "extra")
_WAITS = (State.AWAITING, State.PUT)  # for the keeper, or for the customer


class Asked(NamedTuple):
    """What a deed left: the question's public id beside the ticket's outcome."""

    ref: str
    outcome: Outcome


def draft(
    desk: Desk,
    by: By,
    number: str,
    typed: TypedOffer,
    *,
    kind: str = "extra",
    put_at_once: bool = False,
    at_distance: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Asked:
    """Write a question; with `put_at_once` it goes on to the customer, or to the keeper first where the policy says so.

    `at_distance` says that the customer agrees without meeting the shop, as do all who announced their device.
    Raises Unfit for what does not fit, Refused for a device that is not here.
    """
    if kind not in KINDS:
        raise Unfit("kind", say("A question is an estimate or an extra."))
    now, ref = desk.clock.now(), new_ref(desk.chooser)
    new: list[Offer] = []

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        offer = fit_offer(connection, ticket, typed, policy, now)
        new.append(offer)
        state = _after_draft(connection, by, offer, policy) if put_at_once else State.DRAFTED

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            question_id = questions.add(
                connection,
                {
                    "ref": ref,
                    "ticket_id": ticket.id,
                    "kind": kind,
                    "state": state.value,
                    "version": 1,
                    "offer": to_data(offer),
                    "answer_by": offer.answer_by,
                    "drafted_by": by.staff_id,
                    "made_at": now,
                    "put_at": now if state is State.PUT else None,
                    "at_distance": at_distance or came_unmet(connection, ticket.id),
                },
            )
            if state is State.PUT:
                _ask_everybody(desk, connection, ticket, ref, question_id)

        return Change(_events(ticket, ref, "question_drafted", state), audience=_audience(state), write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        _tell(connection, ticket, ref, now)

    outcome = change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)
    return Asked(ref if new and not outcome.repeated else _newest(desk, number), outcome)


def put(desk: Desk, by: By, number: str, ref: str, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """The technician is done drafting: on to the customer, or to the keeper first."""

    def decide(connection: Connection, _ticket: Ticket, kept: Kept, policy: Policy) -> State:
        needs = needs_sign_off(connection, by, kept.offer, policy)
        return rules.put(kept.question, needs_sign_off=needs).state

    return _move_on(desk, by, number, ref, "question_put", decide, seen=seen, deed_key=deed_key)


def sign_off(
    desk: Desk,
    by: By,
    number: str,
    ref: str,
    version: int,
    *,
    changed: TypedOffer | None = None,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """The keeper sends it to the customer, in the version that they read or as they `changed` it.

    Raises Refused for anybody else, and where the bench has changed it meanwhile; Unfit for a change that does not fit.
    """
    now = desk.clock.now()
    values: dict[str, object] = {}

    def decide(connection: Connection, ticket: Ticket, kept: Kept, policy: Policy) -> State:
        only_keeper(connection, by)
        state = rules.sign_off(kept.question, version).state
        if changed is not None:
            offer = fit_offer(connection, ticket, changed, policy, now)
            values.update(version=kept.question.version + 1, offer=to_data(offer), answer_by=offer.answer_by)
        return state

    return _move_on(desk, by, number, ref, "question_signed_off", decide, values=values, seen=seen, deed_key=deed_key)


def return_to_bench(
    desk: Desk, by: By, number: str, ref: str, note: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The keeper sends it back to the bench with a note."""
    words = line("note", say("The note"), note, limit=400, required=True)

    def decide(connection: Connection, _ticket: Ticket, kept: Kept, _policy: Policy) -> State:
        only_keeper(connection, by)
        return rules.return_to_bench(kept.question).state

    extra: dict[str, object] = {"returned_with": words}
    return _move_on(
        desk, by, number, ref, "question_returned", decide, values=extra, text=words, seen=seen, deed_key=deed_key
    )


def withdraw(
    desk: Desk, by: By, number: str, ref: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The shop takes the question back before it is answered."""

    def decide(_connection: Connection, _ticket: Ticket, kept: Kept, _policy: Policy) -> State:
        return rules.withdraw(kept.question).state

    return _move_on(desk, by, number, ref, "question_withdrawn", decide, seen=seen, deed_key=deed_key)


def change(
    desk: Desk,
    by: By,
    number: str,
    ref: str,
    typed: TypedOffer,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Change the offer. One that was put already is asked anew; an answer to what was shown before is refused."""
    now = desk.clock.now()

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        kept = of(connection, ticket, ref)
        offer = fit_offer(connection, ticket, typed, policy, now)
        changed = rules.change(kept.question, offer.answer_by)
        if changed.state is State.PUT and needs_sign_off(connection, by, offer, policy):
            changed = replace(changed, state=State.AWAITING)

        def write(connection: Connection, _ticket: Ticket, _now: datetime) -> None:
            must_win(
                questions.change(
                    connection,
                    kept,
                    {
                        "state": changed.state.value,
                        "version": changed.version,
                        "offer": to_data(offer),
                        "answer_by": offer.answer_by,
                        "reminded_at": None,
                    },
                )
            )

        return Change(
            _events(ticket, ref, "question_changed", changed.state), audience=_audience(changed.state), write=write
        )

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        _tell(connection, ticket, ref, now, anew=True)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def start_work(
    desk: Desk, by: By, number: str, ref: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The bench begins what was agreed to: from now on the yes cannot be taken back.

    Raises Refused while it can be cancelled and the customer did not ask to begin before.
    """

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        kept = of(connection, ticket, ref)
        rules.start_work(kept.question)
        if kept.question.work_started:
            raise Refused(say("This work has begun already."))
        today = local_day(desk.clock.now(), policy)
        must_not_wait(kept.cancel_until, kept.begin_early, today)

        def write(connection: Connection, _ticket: Ticket, now: datetime) -> None:
            must_win(questions.change(connection, kept, {"started_at": now}))

        return Change([Event("agreed_work_begun", {"question": ref})], write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def of(connection: Connection, ticket: Ticket, ref: str) -> Kept:
    """The ticket's question with this public id. Raises NotFound."""
    kept = questions.by_ref(connection, ref)
    if kept is None or kept.ticket_id != ticket.id:
        raise NotFound(say("This repair has no such question."))
    return kept


def must_win(changed: bool) -> None:
    """The row of a question was changed by the one deed that may. Raises Refused where another was faster."""
    if not changed:
        raise Refused(say("Somebody else answered or changed this question at this very moment. Please look again."))


def hold_events(ticket: Ticket, connection: Connection, ref: str, after: State) -> list[Event]:
    """The hold "approval" comes with a question that waits, and goes with the last one."""
    if after in _WAITS:
        return _held(ticket)
    if ticket.hold is Hold.APPROVAL:
        others = [each for each in questions.of_ticket(connection, ticket.id) if each.ref != ref]
        if not any(each.question.state in _WAITS for each in others):
            return [Event("released")]
    return []


def _held(ticket: Ticket) -> list[Event]:
    """The hold comes, unless the ticket waits for something else already."""
    return [Event("held", {"hold": Hold.APPROVAL.value})] if ticket.hold is None else []


def _move_on(
    desk: Desk,
    by: By,
    number: str,
    ref: str,
    name: str,
    decide_state: Callable[[Connection, Ticket, Kept, Policy], State],
    *,
    values: dict[str, object] | None = None,
    text: str = "",
    seen: int | None,
    deed_key: str | None,
) -> Outcome:
    before: list[Kept] = []

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_here(ticket.standing)
        kept = of(connection, ticket, ref)
        state = decide_state(connection, ticket, kept, policy)
        before[:] = [kept]

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            new: dict[str, object] = {"state": state.value} | (values or {})
            if state is State.PUT:
                new |= {"put_at": now, "reminded_at": None}
                _ask_everybody(desk, connection, ticket, ref, kept.id)
            if state not in OPEN:
                new["settled_at"] = now
            must_win(questions.change(connection, kept, new))

        events = [Event(name, {"question": ref}), *hold_events(ticket, connection, ref, state)]
        return Change(events, text=text, audience="bench" if text else _audience(state), write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        _tell(connection, ticket, ref, now, anew=before[0].put_at is not None)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def _events(ticket: Ticket, ref: str, name: str, state: State) -> list[Event]:
    return [Event(name, {"question": ref}), *(_held(ticket) if state in _WAITS else [])]


def _audience(state: State) -> Literal["bench", "customer"]:
    return "bench" if state in (State.DRAFTED, State.AWAITING) else "customer"


def fit_offer(connection: Connection, ticket: Ticket, typed: TypedOffer, policy: Policy, now: datetime) -> Offer:
    """The offer as the shop reckons today. Raises Unfit for the first field that does not fit."""
    shop, approvals = policy.shop, policy.approvals
    terms = Terms(shop.currency, approvals.rounding, approvals.prices_include_tax)
    rates = [] if shop.tax_percent is None else [shop.tax_percent, *approvals.other_tax_percents]
    offer = fit(typed, terms, rates, answer_by(now, policy), now)
    shown = {photo.known_as for photo in photos.of_ticket(connection, ticket.id) if photo.audience == "customer"}
    if not shown.issuperset(offer.photos):
        raise Unfit("photos", say("A photo that was chosen is not there for the customer any more. Choose again."))
    return offer


def _after_draft(connection: Connection, by: By, offer: Offer, policy: Policy) -> State:
    return State.AWAITING if needs_sign_off(connection, by, offer, policy) else State.PUT


def needs_sign_off(connection: Connection, by: By, offer: Offer, policy: Policy) -> bool:
    """Whether the keeper looks at an offer before it goes to the customer."""
    above = policy.approvals.sign_off_above
    staff = [person for person in people.everybody(connection) if not person.disabled_at]
    return rules.needs_sign_off(
        offer.dearest(),
        None if above is None else to_minor(above, policy.shop.currency),
        drafted_by_keeper=is_keeper(connection, by),
        keepers=sum(person.is_keeper for person in staff),
        staff=len(staff),
    )


def _ask_everybody(desk: Desk, connection: Connection, ticket: Ticket, ref: str, question_id: int) -> None:
    """Give everybody who may agree a link of their own for this question, once."""
    for contact in visits.contacts_of(connection, ticket.visit_id):
        if contact.may_agree and questions.is_asked(connection, ref, contact.ref) is None:
            questions.ask(connection, question_id, contact.id, new_ref(desk.chooser))


def _tell(connection: Connection, ticket: Ticket, ref: str, now: datetime, *, anew: bool = False) -> None:
    kept = questions.by_ref(connection, ref)
    if kept is None:
        return
    match kept.question.state:
        case State.PUT:
            tell.question_put(connection, ticket, kept, now, anew=anew)
        case State.AWAITING:
            tell.sign_off_wanted(connection, ticket, kept, now)
        case State.WITHDRAWN:
            tell.question_withdrawn(connection, ticket, kept, now)
        case _:
            pass


def _newest(desk: Desk, number: str) -> str:
    """The question that the same form had made before."""
    with desk.reading() as connection:
        found = questions.of_ticket(connection, find(connection, number).id)
    return found[-1].ref if found else ""

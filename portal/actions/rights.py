"""Requests about personal data: entered by the staff or by the person, answered in time, and the answer told.

GDPR Art. 12 and 15 to 21. What a person may do alone, after a code, is in `own_data`. Not legal advice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial

from sqlalchemy import Connection

from notifications import outbox
from portal.actions import tell
from portal.actions.desk import CLOCK, By, Change, Desk, NotFound, change_within, find
from portal.actions.shelf import day
from portal.rules import rights as rules
from portal.rules.days import local_day
from portal.rules.hours import holiday_on
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.retention import OF_A_VISIT
from portal.rules.rights import Request, Right, State, Through
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Event
from portal.rules.text import line, passage
from portal.rules.tokens import new_ref
from portal.store import keeping, rights, tickets, visits
from portal.store.keeping import Pause
from portal.store.ledger import Line, What
from portal.store.rights import Kept
from portal.store.tickets import Ticket

OLDEST = timedelta(days=366)  # a request entered later than that was mistyped
TOLD_BEFORE = timedelta(days=1)  # a restriction ends no sooner after its person was told (common practice, no source)
BROUGHT_BACK = "Asked for after the archive was made from which the shop was brought back."  # the keeper reads it
LOOKED_AT_AGAIN = timedelta(days=365)  # a restriction is never for ever (recital 39 GDPR)
Decide = Callable[[Kept, Policy, date], tuple[Request, dict[str, object]]]


@dataclass(frozen=True)
class Asked:
    """A request as typed. `number` is any repair of the visit, or "" where none is known; `received_on` "" is today."""

    right: str
    through: str
    received_on: str = ""
    number: str = ""
    words: str = ""
    whose: str = "owner"  # or "second": of the visit's second person


def enter(desk: Desk, by: By, asked: Asked, *, at_once: bool = False, deed_key: str | None = None) -> str:
    """Enter a request and tell its public id. The person and the keepers hear of it.

    `at_once`: it is the owner's own, proven, and what it changes begins now.

    Raises Unfit (fields "right", "through", "received_on", "number", "words", "whose"), NotFound.
    """
    words = passage("words", say("What is asked"), asked.words)
    with desk.writing() as connection:
        now, policy = desk.clock.now(), desk.policy(connection)
        if known := rights.of_deed(connection, deed_key):
            return known.ref
        today = local_day(now, policy)
        request = Request(rules.right(asked.right), _received(asked.received_on, today))
        ticket = find(connection, asked.number) if asked.number.strip() else None
        if by.kind == "customer" and ticket:
            _must_be_new(connection, ticket, request.right, asked.whose)
        through = rules.through(asked.through, by_person=by.kind == "customer")
        ref = new_ref(desk.chooser)
        values: dict[str, object] = {
            "ref": ref,
            "visit_id": ticket.visit_id if ticket else None,
            "number": ticket.number if ticket else "",
            "whose": _whose(connection, ticket, asked.whose),
            "through": through.value,
            "words": words,
            "made_at": now,
            "entered_by": by.staff_id,
            "deed_key": deed_key,
        }
        rights.add(connection, values, request)
        kept = of(connection, ref)
        if ticket:
            _journal(desk, connection, by, kept, "data_asked")
            tell.request_told(connection, kept, "received", now)
            tell.request_waits(connection, kept, now)
            if at_once:
                take_effect(desk, connection, ticket.visit_id, request.right, by, now)
    return ref


def keep_done(
    desk: Desk, connection: Connection, ticket: Ticket, right: Right, answer: str, now: datetime, deed_key: str | None
) -> Kept:
    """Keep a request that a person made on their page and that was carried out in the same transaction."""
    today = local_day(now, desk.policy(connection))
    values: dict[str, object] = {
        "ref": new_ref(desk.chooser),
        "visit_id": ticket.visit_id,
        "number": ticket.number,
        "through": Through.PAGE.value,
        "answer": answer,
        "settled_at": now,
        "made_at": now,
        "deed_key": deed_key,
    }
    rights.add(connection, values, Request(right, today, State.DONE))
    return of(connection, str(values["ref"]))


def extend(desk: Desk, by: By, ref: str, why: str, *, deed_key: str | None = None) -> None:
    """Take two months more, and tell the person why. Raises Unfit (field "why"), Refused after the first month."""
    reason = passage("why", say("The reason"), why, limit=1000, required=True)

    def decide(kept: Kept, policy: Policy, today: date) -> tuple[Request, dict[str, object]]:
        return rules.extend(kept.request, today, holidays_of(policy)), {"extended_why": reason, "reminded_at": None}

    _change(desk, by, ref, decide, "extended", deed_key)


def stop_clock(desk: Desk, by: By, ref: str, *, deed_key: str | None = None) -> None:
    """Ask back who it is or what is meant: until that comes the clock stands still. Raises Refused."""

    def decide(kept: Kept, policy: Policy, today: date) -> tuple[Request, dict[str, object]]:
        law = rules.law_of(policy.privacy.law, policy.shop.country)
        return rules.stop(kept.request, law, today), {"reminded_at": None}

    _change(desk, by, ref, decide, "stopped", deed_key)


def go_on(desk: Desk, by: By, ref: str, *, deed_key: str | None = None) -> None:
    """What was asked back has come. Raises Refused where the clock does not stand still."""

    def decide(kept: Kept, _policy: Policy, today: date) -> tuple[Request, dict[str, object]]:
        return rules.go_on(kept.request, today), {}

    _change(desk, by, ref, decide, "", deed_key)


def settle(desk: Desk, by: By, ref: str, state: str, answer: str, *, deed_key: str | None = None) -> None:
    """Answer a request: "done", with what was done, or "refused", with the reason. The person is told.

    A restriction begins with it, and an objection ends reminders. Raises Unfit (fields "state", "answer"), Refused.
    """
    if state not in (State.DONE, State.REFUSED):
        raise Unfit("state", say("Please choose whether it is done or refused."))
    what = say("What was done") if state == State.DONE else say("The reason")
    words = passage("answer", what, answer, limit=2000, required=True)

    def decide(kept: Kept, _policy: Policy, _today: date) -> tuple[Request, dict[str, object]]:
        return rules.settle(kept.request, State(state)), {"answer": words, "settled_at": desk.clock.now()}

    _change(desk, by, ref, decide, state, deed_key, also=partial(_take_effect, desk))


def announce_end(desk: Desk, by: By, ref: str, *, deed_key: str | None = None) -> None:
    """Tell the person that their restriction ends; it does from the next day on, once that has gone out to them.

    Art. 18(3) GDPR. Raises Refused where none stands, it is announced already, or the person cannot be sent anything.
    """

    def decide(kept: Kept, _policy: Policy, today: date) -> tuple[Request, dict[str, object]]:
        _must_restrict(kept)
        if kept.lift_on is not None:
            raise Refused(say("They were told already that it ends."))
        return kept.request, {"lift_on": today + TOLD_BEFORE}

    def must_reach(connection: Connection, kept: Kept, _by: By, _now: datetime) -> None:
        if kept.visit_id is None or not _owner_is_reached(connection, kept.visit_id, desk.policy(connection)):
            raise Refused(say("We cannot send them anything. Tell them yourself, and write down how."))

    _change(desk, by, ref, decide, "lifting", deed_key, also=must_reach)


def lift(desk: Desk, by: By, ref: str, told: str, *, deed_key: str | None = None) -> None:
    """End a restriction at once, whose person was told before by the keeper. `told` says how (Art. 18(3) GDPR).

    Raises Unfit (field "told"), Refused where none stands.
    """
    how = line("told", say("How they were told"), told, limit=200, required=True)

    def decide(kept: Kept, _policy: Policy, _today: date) -> tuple[Request, dict[str, object]]:
        _must_restrict(kept)
        return kept.request, {"lifted_at": desk.clock.now(), "lift_told": how}

    _change(desk, by, ref, decide, "lifted", deed_key, also=_end_restriction)


def end_announced(desk: Desk, now: datetime) -> tuple[int, int]:
    """End the restrictions of which the person was told, on their day: (looked at, ended)."""
    with desk.reading() as connection:
        today, told = local_day(now, desk.policy(connection)), rights.ending_restrictions(connection)
        over = [
            kept
            for kept in told
            if kept.lift_on and kept.lift_on <= today and outbox.sent_at(connection, tell.cause_of_request(kept))
        ]
    for kept in over:
        with desk.writing() as connection:
            if rights.change(connection, kept, kept.request, {"lifted_at": now}, kept.deed_key):
                ended = of(connection, kept.ref)
                _end_restriction(connection, ended, CLOCK, now)
                _journal(desk, connection, CLOCK, ended, "data_lifted")
    return len(told), len(over)


def end_at_owners_wish(connection: Connection, visit_id: int, by: By, now: datetime) -> None:
    """The person wants their data used again: every restriction of the visit ends. Raises Refused where none stands."""
    standing = [kept for kept in rights.of_visit(connection, visit_id) if kept.restricts]
    if not standing:
        raise Refused(say("There is no restriction in force here."))
    for kept in standing:
        rights.change(connection, kept, kept.request, {"lifted_at": now}, kept.deed_key)
        _end_restriction(connection, of(connection, kept.ref), by, now)


def remind(desk: Desk, now: datetime) -> tuple[int, int]:
    """Tell the keepers of requests that must be answered within days, once each: (looked at, reminded)."""
    with desk.reading() as connection:
        policy, waiting = desk.policy(connection), rights.open_ones(connection)
    today, holidays = local_day(now, policy), holidays_of(policy)
    soon = [each for each in waiting if each.reminded_at is None and rules.due_soon(each.request, today, holidays)]
    for kept in soon:
        with desk.writing() as connection:
            if rights.change(connection, kept, kept.request, {"reminded_at": now}, kept.deed_key):
                tell.request_waits(connection, of(connection, kept.ref), now)
    return len(waiting), len(soon)


def take_effect(
    desk: Desk, connection: Connection, visit_id: int, right: Right, by: By, now: datetime, whose: str = "owner"
) -> None:
    """What a restriction or an objection changes at once: the data is only stored, or reminders and news end.

    It holds in an archive from before too. A second person hears nothing any more either way: nothing else is done
    with their data.
    """
    if right not in (Right.RESTRICTION, Right.OBJECTION):
        return
    if whose == "second":
        _silence_second(connection, visit_id)
        return
    what: What = "restricted" if right is Right.RESTRICTION else "objected"
    desk.ledger.note(Line(now, what, visits.by_id(connection, visit_id).ref))
    _bring_about(connection, visit_id, right, by, now)


def again(desk: Desk, connection: Connection, visit_id: int, right: Right, now: datetime) -> None:
    """Bring about, in what was brought back from an archive, what somebody asked for after that was made.

    That a restriction had been lifted since is not known; so it stands, and the keeper ends it anew.
    """
    ticket = tickets.of_visit(connection, visit_id)[0]
    keep_done(desk, connection, ticket, right, BROUGHT_BACK, now, None)
    _bring_about(connection, visit_id, right, CLOCK, now)


def _bring_about(connection: Connection, visit_id: int, right: Right, by: By, now: datetime) -> None:
    if right is Right.RESTRICTION:
        visits.restrict(connection, visit_id, now)
        until = (now + LOOKED_AT_AGAIN).date()
        paused = {pause.kept for pause in keeping.pauses_of(connection, visit_id)}
        for kept in OF_A_VISIT:
            if kept not in paused:  # a pause for a claim has a reason and a day of its own
                keeping.pause(connection, visit_id, Pause(kept, keeping.RESTRICTED, until), by.staff_id, now)
    if right is Right.OBJECTION:
        for contact in visits.contacts_of(connection, visit_id):
            if contact.role == "owner":
                wants = "few" if contact.wants == "all" else contact.wants
                visits.change_contact(connection, contact.id, {"no_reminders": True, "wants": wants})


def _silence_second(connection: Connection, visit_id: int) -> None:
    for contact in visits.contacts_of(connection, visit_id):
        if contact.role == "second":
            visits.change_contact(connection, contact.id, {"no_reminders": True, "wants": "none"})


def of(connection: Connection, ref: str) -> Kept:
    """The request with this public id. Raises NotFound."""
    kept = rights.by_ref(connection, ref)
    if kept is None:
        raise NotFound(say("There is no such request."))
    return kept


def holidays_of(policy: Policy) -> rules.IsHoliday:
    """Which days are public holidays where the shop is."""
    return lambda day: bool(holiday_on(day, policy.hours))


def _change(
    desk: Desk,
    by: By,
    ref: str,
    decide: Decide,
    what: str,
    deed_key: str | None,
    also: Callable[[Connection, Kept, By, datetime], None] | None = None,
) -> None:
    """Change a request in one transaction; `what` is what the journal and the person are told, or "" for nothing."""
    with desk.writing() as connection:
        now, policy, kept = desk.clock.now(), desk.policy(connection), of(connection, ref)
        if deed_key and kept.deed_key == deed_key:
            return
        request, values = decide(kept, policy, local_day(now, policy))
        if not rights.change(connection, kept, request, values, deed_key):
            raise Refused(_MEANWHILE)
        changed = of(connection, ref)
        if also:
            also(connection, changed, by, now)
        if what:
            _journal(desk, connection, by, changed, f"data_{what}")
            if what != "lifted":  # of which they were told before
                tell.request_told(connection, changed, what, now)


_MEANWHILE: Sentence = say("Somebody else changed this request at this very moment. Please look at it again.")


def _journal(desk: Desk, connection: Connection, by: By, kept: Kept, name: str) -> None:
    """Say it in the journal of the request's repair, while that is there."""
    if tickets.by_number(connection, kept.number) is None:
        return

    def decide(_connection: Connection, _ticket: Ticket, _policy: Policy) -> Change:
        return Change([Event(name, {"right": kept.request.right.value})], audience="bench")

    change_within(desk, connection, by, kept.number, decide)


def _must_restrict(kept: Kept) -> None:
    if not kept.restricts:
        raise Refused(say("There is no restriction in force here."))


def _owner_is_reached(connection: Connection, visit_id: int, policy: Policy) -> bool:
    owners = [each for each in visits.contacts_of(connection, visit_id) if each.role == "owner"]
    return any(tell.channels(owner, policy) for owner in owners)


def _take_effect(desk: Desk, connection: Connection, kept: Kept, by: By, now: datetime) -> None:
    if kept.visit_id is not None and kept.request.state is State.DONE:
        take_effect(desk, connection, kept.visit_id, kept.request.right, by, now, kept.whose)


def _end_restriction(connection: Connection, kept: Kept, _by: By, _now: datetime) -> None:
    if kept.visit_id is None or any(each.restricts for each in rights.of_visit(connection, kept.visit_id)):
        return
    visits.restrict(connection, kept.visit_id, None)
    rights.end_uses(connection, kept.visit_id)
    for pause in keeping.pauses_of(connection, kept.visit_id):
        if pause.reason == keeping.RESTRICTED:
            keeping.end_pause(connection, kept.visit_id, pause.kept)


def _whose(connection: Connection, ticket: Ticket | None, typed: str) -> str:
    """Who asks. Raises Unfit (field "whose") for a second person where none is named."""
    if typed not in ("owner", "second"):
        raise Unfit("whose", say("Please choose who asks."))
    named = {each.role for each in visits.contacts_of(connection, ticket.visit_id)} if ticket else set()
    if typed == "second" and typed not in named:
        raise Unfit("whose", say("No second person is on file with this repair."))
    return typed


def _must_be_new(connection: Connection, ticket: Ticket, right: Right, whose: str) -> None:
    """Nobody fills the keeper's list: what waits for an answer is not asked twice on the page."""
    waiting = [kept.request for kept in rights.of_visit(connection, ticket.visit_id) if kept.whose == whose]
    if any(each.right is right and each.state is State.OPEN for each in waiting):
        raise Refused(say("You have asked for this already. The shop answers within a month."))


def _received(typed: str, today: date) -> date:
    received = day("received_on", typed) or today
    if not today - OLDEST <= received <= today:
        raise Unfit("received_on", say("The day of receipt is today or lies within the last year."))
    return received

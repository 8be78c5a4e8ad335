"""What every deed needs: the desk it is done at, who does it, and the one way in which a ticket changes."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import datetime
from functools import lru_cache
from random import Random
from typing import Literal

from sqlalchemy import Connection, Engine

from notifications.instants import Clock
from portal.links import Links
from portal.rules import restriction
from portal.rules.days import local_day
from portal.rules.numbers import parse_number, spoken
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Event, Standing, apply
from portal.store import engine as database
from portal.store import journal, policies, rights, tickets, visits
from portal.store.journal import Entry
from portal.store.ledger import Ledger, NoLedger
from portal.store.tickets import Ticket

_DEED_KEY = re.compile(r"[0-9A-Za-z_-]{1,32}")  # as long as the journal's column


class NotFound(LookupError):
    """There is no such thing; `reason` says so to people."""

    def __init__(self, reason: Sentence) -> None:
        super().__init__(str(reason))
        self.reason = reason


class Stale(Exception):
    """The deed was meant for a state that is no more; `since` is what happened meanwhile. Nothing was changed."""

    def __init__(self, ticket: Ticket, since: Sequence[Entry]) -> None:
        super().__init__(f"Ticket {spoken(ticket.number)} has changed meanwhile: {len(since)} new entries.")
        self.ticket = ticket
        self.since = tuple(since)


class NoPolicy(RuntimeError):
    """The installation has no policy yet."""

    def __init__(self) -> None:
        super().__init__("The shop has no policy yet. Run `benchwindow init` first.")


@dataclass(frozen=True)
class By:
    """Who does a deed. `staff_id` is set exactly when `kind` is "staff"."""

    kind: Literal["staff", "customer", "clock", "command"]
    staff_id: int | None = None


COMMAND = By("command")
CUSTOMER = By("customer")
CLOCK = By("clock")


@dataclass
class PolicyShelf:
    """Parsed revisions of the policy, kept: a revision never changes, so a page does not parse it again."""

    _parsed: dict[int, Policy] = field(default_factory=dict)

    def read(self, connection: Connection, revision: int | None = None) -> tuple[int, Policy]:
        """The newest revision (or the one asked for) with its number. Raises NoPolicy where there is none."""
        number = revision or policies.newest(connection)
        if number not in self._parsed:
            text = policies.document(connection, number)
            if text is None:
                raise NoPolicy
            # Of two threads that parse at once the first is kept, since `must_still_hold` asks for the very same one.
            self._parsed.setdefault(number, _parsed(text))
        return number, self._parsed[number]


@lru_cache(8)
def _parsed(document: str) -> Policy:
    return Policy.model_validate(tomllib.loads(document))


def policy_in_force(connection: Connection) -> Policy:
    """The policy in force, for what is done beside a deed and has no desk. Raises NoPolicy.

    Its shelf is kept with the connection to the database, so that not each message reads the document again.
    """
    shelf: PolicyShelf = connection.info.setdefault("policy_shelf", PolicyShelf())
    return shelf.read(connection)[1]


@dataclass(frozen=True)
class Desk:
    """What deeds are done with. `chooser` makes public ids and ticket numbers: the system's, or the demo's seeded."""

    engine: Engine
    clock: Clock
    links: Links
    chooser: Random
    shelf: PolicyShelf = field(default_factory=PolicyShelf)
    ledger: Ledger = field(default_factory=NoLedger)
    hasty: bool = False  # for what can be made anew, like the demo: paper is attached as HTML, which is made at once

    def writing(self) -> AbstractContextManager[Connection]:
        """One writing transaction: a deed's whole change, its journal entries and its messages, or nothing."""
        return database.writing(self.engine)

    def reading(self) -> AbstractContextManager[Connection]:
        """One consistent view."""
        return database.reading(self.engine)

    def policy(self, connection: Connection) -> Policy:
        """The policy in force."""
        return self.shelf.read(connection)[1]


@dataclass(frozen=True)
class Outcome:
    """What a deed left: the ticket's number and revision. `repeated` when the same form had done it before."""

    number: str
    revision: int
    repeated: bool = False


@dataclass(frozen=True)
class Change:
    """What a deed decided: events, their text and audience, and the columns beside the standing that change."""

    events: Sequence[Event]
    text: str = ""
    audience: Literal["bench", "customer"] = "customer"
    columns: dict[str, object] = field(default_factory=dict)
    # Writes rows of other tables; called only once the ticket's row is won, so a deed that lost a race leaves nothing.
    write: Callable[[Connection, Ticket, datetime], None] | None = None


def find(connection: Connection, typed: str) -> Ticket:
    """The ticket with a number as typed. Raises Unfit for what is no number, NotFound for one never given."""
    number = parse_number(typed)
    ticket = tickets.by_number(connection, number)
    if ticket is None:
        raise NotFound(say("There is no repair {number} here.", number=spoken(number)))
    return ticket


def change_ticket(
    desk: Desk,
    by: By,
    number: str,
    decide: Callable[[Connection, Ticket, Policy], Change],
    *,
    seen: int | None = None,
    deed_key: str | None = None,
    then: Callable[[Connection, Ticket, datetime], None] | None = None,
) -> Outcome:
    """Do one deed on one ticket in one transaction: load, decide, write row and journal, then put messages.

    `seen` is the revision the person looked at (None: whatever it is now); `deed_key` makes a form posted twice have
    one effect; `then` gets the changed ticket and writes what must go out. Raises Stale, NotFound, Refused, also for
    what would use data that is only stored.
    """
    with desk.writing() as connection:
        return change_within(desk, connection, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def change_within(
    desk: Desk,
    connection: Connection,
    by: By,
    number: str,
    decide: Callable[[Connection, Ticket, Policy], Change],
    *,
    seen: int | None = None,
    deed_key: str | None = None,
    then: Callable[[Connection, Ticket, datetime], None] | None = None,
) -> Outcome:
    """The same in a transaction that is open already, for a deed on several tickets at once."""
    now = desk.clock.now()
    ticket = find(connection, number)
    if done_before(connection, deed_key):
        return Outcome(ticket.number, ticket.revision, repeated=True)
    if seen is not None and seen != ticket.revision:
        after = seen if 0 <= seen < ticket.revision else 0  # a page cannot have seen another: tell it all
        raise Stale(ticket, journal.entries(connection, ticket.id, after=after))
    policy = desk.policy(connection)
    try:
        change = decide(connection, ticket, policy)
    except Refused:
        # PostgreSQL: the same form, sent twice at once, may have been quicker between two readings.
        if done_before(connection, deed_key):
            changed = find(connection, number)
            return Outcome(changed.number, changed.revision, repeated=True)
        raise
    _must_be_allowed(connection, by, ticket, change, policy)
    revision = ticket.revision + len(change.events)
    values = standing_columns(ticket.standing, change.events, now) | change.columns
    if not tickets.change(connection, ticket, revision, values):  # PostgreSQL: somebody was faster
        changed = find(connection, number)
        if done_before(connection, deed_key):
            return Outcome(changed.number, changed.revision, repeated=True)
        raise Stale(changed, journal.entries(connection, ticket.id, after=ticket.revision))
    must_still_hold(desk, connection, policy)
    if change.write:
        change.write(connection, ticket, now)
    write_events(connection, by, ticket.id, ticket.revision, change, now, deed_key)
    visits.touch(connection, ticket.visit_id)
    if then:
        then(connection, find(connection, number), now)
    return Outcome(ticket.number, revision)


def _must_be_allowed(connection: Connection, by: By, ticket: Ticket, change: Change, policy: Policy) -> None:
    """Refuse what would use data that is only stored (GDPR Art. 18(2)), unless it was allowed.

    What a person does about their own repair is with their consent; what the clock puts is held back where it is sent.
    """
    if by.kind in ("customer", "clock"):
        return
    wanted = {use for event in change.events if (use := restriction.use_of(event, change.audience))}
    since = visits.by_id(connection, ticket.visit_id).restricted_at if wanted else None
    if since:
        allowed = {each.use for each in rights.allowed_uses_of(connection, ticket.visit_id)}
        restriction.must_be_allowed(wanted, allowed, local_day(since, policy))


def must_still_hold(desk: Desk, connection: Connection, policy: Policy) -> None:
    """Look again, once a ticket's row is written, whether the policy that was decided by is still in force.

    Else a ticket could come into a stage that a new revision, checked a moment before, no longer has. Raises Refused.
    """
    if desk.policy(connection) is not policy:
        raise Refused(say("The shop’s policy changed at this very moment. Nothing was done; please try again."))


def done_before(connection: Connection, deed_key: str | None) -> str | None:
    """The number of the ticket on which this form's deed was done before, or None. Raises Refused for no such key."""
    if deed_key is None:
        return None
    if not _DEED_KEY.fullmatch(deed_key):
        raise Refused(say("This form is damaged. Please open the page anew and fill it in again."))
    return journal.ticket_of_deed(connection, deed_key)


def standing_columns(standing: Standing, events: Sequence[Event], now: datetime) -> dict[str, object]:
    """The columns that follow from the events: only those that change."""
    after = standing
    for event in events:
        after = apply(after, event)
    values: dict[str, object] = {}
    if any(event.name in ("arrived", "moved") for event in events):
        values |= {"stage": after.stage, "stage_since": now, "remind_at": None, "reminded": 0}
        values |= {"collect_on": None, "notice_at": None}
    if after.hold != standing.hold:
        values |= {"hold": after.hold, "hold_since": now if after.hold else None}
    if after.ending != standing.ending:
        values |= {"ending": after.ending, "ended_at": now if after.ending else None}
    return values


def write_events(
    connection: Connection,
    by: By,
    ticket_id: int,
    revision: int,
    change: Change,
    now: datetime,
    deed_key: str | None,
) -> None:
    """Append the events after `revision`; the text and the form's key go with the first."""
    journal.append(
        connection,
        ticket_id=ticket_id,
        after=revision,
        at=now,
        by_kind=by.kind,
        by_staff=by.staff_id,
        events=change.events,
        audience=change.audience,
        text=change.text,
        deed_key=deed_key,
    )

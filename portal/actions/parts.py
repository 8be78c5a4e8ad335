"""Parts ordered, arrived and fitted; work given free; donor devices."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, Outcome, change_ticket, change_within
from portal.rules import parts as rules
from portal.rules import stages
from portal.rules.days import local_day
from portal.rules.parts import Origin, PartLine, State
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, needs
from portal.rules.sentences import say
from portal.rules.stages import Event, Hold, must_be_here
from portal.rules.text import line
from portal.store import parts
from portal.store.tickets import Ticket


@dataclass(frozen=True)
class Tick:
    """One part of a delivery ticked off: "arrived", "wrong part" or "dead on arrival"."""

    number: str
    part: int
    how: str


def order(
    desk: Desk,
    by: By,
    number: str,
    what: str,
    supplier: str,
    expected_on: date,
    *,
    reference: str = "",
    warranty_months: int | None = None,
    hold: bool = True,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Order a part; the ticket waits for it where it waits for nothing else, unless `hold` is False.

    Raises what `rules.parts.fit` raises.
    """
    new = PartLine(0, what, State.ORDERED, Origin.NEW, supplier, reference, expected_on, warranty_months)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        part = _next(connection, ticket, rules.fit(new, local_day(desk.clock.now(), policy)))
        events = [Event("part_ordered", {"part": str(part.part), "expected_on": expected_on.isoformat()})]
        if hold and ticket.hold is None:
            events += stages.set_hold(ticket.standing, Hold.PART)
        return _added(part, events)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def settle_delivery(desk: Desk, by: By, ticks: Sequence[Tick], *, deed_key: str | None = None) -> list[Outcome]:
    """Tick parts of one delivery off, all or none, and end the wait of tickets for which nothing more is awaited.

    Raises Refused for a part that is not awaited. The same form again changes nothing.
    """
    if not ticks:
        raise needs("part", say("The part"))
    outcomes = []
    with desk.writing() as connection:
        # One order of tickets for everybody, so that two deliveries at once do not wait for each other.
        for place, tick in enumerate(sorted(ticks, key=lambda each: (each.number, each.part))):
            key = f"{deed_key[:27]}-{place}" if deed_key else None
            outcomes.append(change_within(desk, connection, by, tick.number, _delivered(tick), deed_key=key))
    return outcomes


def fit(desk: Desk, by: By, number: str, part: int, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """Fit a part that has arrived. Raises Refused for one that has not."""

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        must_be_here(ticket.standing)
        fitted = rules.put_in(rules.find(parts.of_ticket(connection, ticket.id), part))
        return _changed(fitted, [Event("part_fitted", {"part": str(part), "origin": fitted.origin.value})])

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def fit_from_stock(
    desk: Desk,
    by: By,
    number: str,
    what: str,
    *,
    supplier: str = "",
    reference: str = "",
    warranty_months: int | None = None,
    donor: int | None = None,
    used: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Fit a part that was at hand: new, or used (from a donor device of the list, where the shop keeps one).

    Raises what `rules.parts.fit` raises, Refused for a donor that is not on the list.
    """
    origin = Origin.DONOR if used or donor is not None else Origin.NEW
    new = PartLine(0, what, State.FITTED, origin, supplier, reference, None, warranty_months, donor)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        if donor is not None and donor not in {known.id for known in parts.all_donors(connection)}:
            raise Refused(say("There is no donor device {donor} on the list.", donor=donor))
        part = _next(connection, ticket, rules.fit(new, local_day(desk.clock.now(), policy)))
        return _added(part, [Event("part_fitted", {"part": str(part.part), "origin": origin.value})])

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def give(
    desk: Desk, by: By, number: str, what: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """List work as given free, so that the customer sees it. Raises Unfit for no words or too many."""
    words = line("what", say("The work given free"), what, required=True)

    def decide(_connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        must_be_here(ticket.standing)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            parts.give(connection, ticket.id, words, now)

        return Change([Event("courtesy_given")], text=words, write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def add_donor(desk: Desk, device: str, whose: str, consent: str) -> int:
    """Put a donor device on the list and tell its number. Raises Unfit without the owner's written consent.

    Raises Refused where the policy keeps no list.
    """
    what = line("device", say("The donor device"), device, required=True)
    owner = line("whose", say("Whose it was"), whose, required=True)
    paper = line("consent", say("Where the owner’s written consent lies"), consent, limit=400, required=True)
    with desk.writing() as connection:
        if not desk.policy(connection).bench.donors:
            raise Refused(say("The shop keeps no list of donor devices. The keeper may switch it on in the policy."))
        return parts.add_donor(connection, what, owner, paper, desk.clock.now())


def _delivered(tick: Tick) -> Callable[[Connection, Ticket, Policy], Change]:
    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        known = parts.of_ticket(connection, ticket.id)
        part = rules.deliver(rules.find(known, tick.part), tick.how)
        after = [part if each.part == part.part else each for each in known]
        events = [Event("part_arrived", {"part": str(part.part), "how": part.state.value})]
        return _changed(part, [*events, *rules.lifted(ticket.standing, after)])

    return decide


def _next(connection: Connection, ticket: Ticket, part: PartLine) -> PartLine:
    must_be_here(ticket.standing)
    known = parts.of_ticket(connection, ticket.id)
    return replace(part, part=max((each.part for each in known), default=0) + 1)


def _added(part: PartLine, events: Sequence[Event]) -> Change:
    def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
        parts.add(connection, ticket.id, part)

    return Change(events, text=part.what, write=write)


def _changed(part: PartLine, events: Sequence[Event]) -> Change:
    def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
        parts.change(connection, ticket.id, part)

    return Change(events, text=part.what, write=write)

"""The right to erasure: what can go goes at once; what must stay is named with its ground and its end.

GDPR Art. 17(1) and (3). Not legal advice; local law decides.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from portal.actions import retention
from portal.actions.archives import ERASED_AT_ONCE
from portal.actions.desk import By, Change, Desk, change_ticket, find
from portal.rules.days import local_day
from portal.rules.numbers import spoken
from portal.rules.periods import goes_at
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.retention import REGISTER, Kept
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Event
from portal.rules.text import line
from portal.store import keeping, purge, tickets, visits
from portal.store.ledger import Line
from portal.store.photo_files import PhotoFiles
from portal.store.tickets import Ticket

OF_A_SECOND = (Kept.CONTACT, Kept.MESSAGE, Kept.PUSH)  # what is held of a second person
SECOND_STAYS = say(
    "What they wrote about the repair stays in its record and goes with it: the repair needs it, and a claim may (Art. "
    "17(3)(e) GDPR)."
)


@dataclass(frozen=True)
class Stays:
    """What stays all the same, why (Art. 17(3)), and its last day."""

    kept: Kept
    why: Sentence
    until: date


@dataclass(frozen=True)
class Erased:
    """What an erasure covered: these tickets of one visit, and the second person where there was one."""

    numbers: Sequence[str]
    second_person: bool
    gone: Sequence[Kept]
    stays: Sequence[Stays]


def erase(
    desk: Desk,
    files: PhotoFiles,
    by: By,
    number: str,
    why: str,
    *,
    deed_key: str | None = None,
    then: Callable[[Connection, Ticket, datetime], None] | None = None,
) -> Erased:
    """Erase what can go of a ticket's whole visit, since its tickets share one contact.

    `then` writes what belongs into the same transaction. Raises Refused while a device of the visit is in the shop, and
    Unfit without a reason.
    """
    reason = line("why", say("The reason"), why, limit=400, required=True)
    gone: list[str] = []
    told: list[Erased] = []

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        of_visit = tickets.of_visit(connection, ticket.visit_id)
        here = [spoken(each.number) for each in of_visit if each.ending is None]
        if here:
            raise Refused(
                say(
                    "The data is still needed for {numbers} (Art. 17(1)(a) GDPR). Give the device back first; who does "
                    "not want messages can be taken out under Contact.",
                    numbers=", ".join(here),
                )
            )
        paused = keeping.paused(connection, ticket.visit_id, local_day(desk.clock.now(), policy))
        since = keeping.of_visit(connection, ticket.visit_id)
        going = [kept for kept in ERASED_AT_ONCE if kept not in paused and kept in since]
        visit = visits.by_id(connection, ticket.visit_id)
        second = any(contact.role == "second" for contact in visits.contacts_of(connection, visit.id))
        stays = _stays(since, going, policy, {kept: pause.until for kept, pause in paused.items()})
        told.append(Erased([each.number for each in of_visit], second, going, stays))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            revision = desk.shelf.read(connection)[0]
            retention.erase_visit(connection, policy, ticket.visit_id, going, gone)
            for kept in going:
                keeping.record(connection, kept, 1, revision, now)
            desk.ledger.note(Line(now, "visit", visit.ref))

        return Change([Event("erased")], text=reason, audience="bench", write=write)

    outcome = change_ticket(desk, by, number, decide, deed_key=deed_key, then=then)
    for ref in gone:
        files.remove(ref)
    return told[0] if told else _again(desk, outcome.number)


def erase_second(desk: Desk, by: By, number: str, why: str, *, deed_key: str | None = None) -> Erased:
    """Erase who the second person of a ticket's visit is; their repair it is not, so a device may still be here.

    Raises Refused where there is none, and Unfit without a reason.
    """
    reason = line("why", say("The reason"), why, limit=400, required=True)
    numbers: list[str] = []

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        seconds = [each for each in visits.contacts_of(connection, ticket.visit_id) if each.role == "second"]
        if not seconds:
            raise Refused(say("No second person is on file with this repair."))
        numbers.extend(each.number for each in tickets.of_visit(connection, ticket.visit_id))

        def write(connection: Connection, _ticket: Ticket, now: datetime) -> None:
            purge.second_person(connection, seconds[0].id, seconds[0].ref)
            keeping.record(connection, Kept.CONTACT, 1, desk.shelf.read(connection)[0], now)
            desk.ledger.note(Line(now, "second", seconds[0].ref))

        return Change([Event("second_erased")], text=reason, audience="bench", write=write)

    outcome = change_ticket(desk, by, number, decide, deed_key=deed_key)
    return Erased(numbers or [outcome.number], second_person=True, gone=OF_A_SECOND, stays=())


def _stays(since: dict[Kept, datetime], going: Sequence[Kept], policy: Policy, paused: dict[Kept, date]) -> list[Stays]:
    zone = ZoneInfo(policy.shop.zone)
    found = []
    for kept, start in since.items():
        if kept in going:
            continue
        last = goes_at(start, policy.retention.period(kept), zone).astimezone(zone).date() - timedelta(days=1)
        until = max(last, paused[kept]) if kept in paused else last
        why = say("a claim or a dispute (Art. 17(3)(e) GDPR)") if kept in paused else REGISTER[kept].ground
        found.append(Stays(kept, why, until))
    return found


def _again(desk: Desk, number: str) -> Erased:
    """The same form once more: nothing was left to go."""
    with desk.reading() as connection:
        ticket = find(connection, number)
        since = keeping.of_visit(connection, ticket.visit_id)
        return Erased([number], False, [], _stays(since, [], desk.policy(connection), {}))

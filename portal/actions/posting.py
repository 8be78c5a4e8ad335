"""Posting a device back to its owner: packed and gone, arrived, or come back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial

from sqlalchemy import Connection

from portal.actions import balance, tell
from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.actions.handover import gone, owing_in_words, set_link_end
from portal.actions.ownership import must_be_unclaimed
from portal.actions.people import is_keeper
from portal.rules import handing_over, intake_record, posting, stages
from portal.rules.days import local_day
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.return_ways import Way
from portal.rules.sentences import say
from portal.rules.stages import Ending, Event
from portal.rules.text import line, passage
from portal.store import handovers, records
from portal.store.facts import facts
from portal.store.handovers import Parcel
from portal.store.tickets import Ticket


@dataclass(frozen=True)
class Packed:
    """What is typed when a parcel goes. `ticked` are keys of `posting.PACKING`, `unsettled` the keeper's word."""

    carrier: str
    reference: str = ""
    posted_on: str = ""
    ticked: Sequence[str] = ()
    unsettled: str = ""


def post_back(
    desk: Desk,
    by: By,
    number: str,
    typed: Packed,
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """A finished device goes off to the address that its owner confirmed; they are told.

    Raises Unfit (fields "carrier", "reference", "posted_on", "packed", "unsettled"); Refused where a battery forbids
    the post, no address is confirmed, something is unpaid, and as a handover does; AskFirst when gates only warn.
    """
    carrier = line("carrier", say("The carrier"), typed.carrier, limit=60, required=True)
    reference = line("reference", say("The reference"), typed.reference, limit=60)
    unsettled = line("unsettled", say("The keeper’s word"), typed.unsettled, limit=400)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_unclaimed(ticket)
        known = facts(connection, ticket, policy)
        events = stages.hand_over(ticket.standing, policy.stages, Ending.POSTED, facts=known, confirmed=confirmed)
        _must_be_wanted(connection, ticket)
        handing_over.settled(owing_in_words(connection, ticket, policy), unsettled, is_keeper=is_keeper(connection, by))
        posting.packed(typed.ticked)
        posted_on = _day(desk, "posted_on", typed.posted_on, ticket.stage_since, policy)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            went = Parcel(ticket.revision + 1, carrier, reference, posted_on, None, None)
            handovers.post(connection, ticket.id, went)

        return Change(events, text=unsettled, audience="bench" if unsettled else "customer", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=partial(gone, desk))


def arrived(
    desk: Desk, by: By, number: str, day: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The parcel is with its owner; its warranty runs from then. Raises Unfit (field "day"), Refused for no parcel."""

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        parcel = _under_way(connection, ticket)
        on = _fit(desk, "day", day, parcel.posted_on, policy)

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            handovers.end_parcel(connection, ticket.id, parcel.entry, delivered_on=on)

        event = Event("delivered", {"day": on.isoformat()})
        return Change([event], columns={"delivered_on": on}, write=write)

    def then(connection: Connection, ticket: Ticket, _now: datetime) -> None:
        set_link_end(desk, connection, ticket.visit_id)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def came_back(
    desk: Desk, by: By, number: str, day: str, why: str = "", *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """The parcel is here again: the ticket is open once more, and its owner chooses anew how to have the device.

    Raises Unfit (field "day"), Refused for no parcel, or one that arrived.
    """
    reason = passage("why", say("Why it came back"), why, limit=400)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        parcel, before = _under_way(connection, ticket), handovers.choice(connection, ticket.id)
        on = _fit(desk, "day", day, parcel.posted_on, policy)

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            handovers.end_parcel(connection, ticket.id, parcel.entry, came_back_on=on)
            if before:
                handovers.unchoose(connection, ticket.id, before)

        ready_again: dict[str, object] = {
            "stage_since": desk.clock.now(),
            "remind_at": None,
            "reminded": 0,
            "collect_on": None,
        }
        events = [Event("parcel_came_back", {"day": on.isoformat()}), Event("reopened")]
        return Change(events, text=reason, audience="bench" if reason else "customer", columns=ready_again, write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        set_link_end(desk, connection, ticket.visit_id)
        balance.withdraw_statement(connection, ticket, now)
        balance.keep_account(connection, ticket, desk.policy(connection), now)
        tell.parcel_came_back(connection, ticket, now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def _must_be_wanted(connection: Connection, ticket: Ticket) -> None:
    version = records.newest(connection, ticket.id)
    if version:
        intake_record.may_be_posted(version.record, made_safe=version.made_safe_at is not None)
    choice = handovers.choice(connection, ticket.id)
    if choice is None or choice.way is not Way.POST or not choice.address:
        raise Refused(say("Its owner has confirmed no address. They do so on their page, or you write it down below."))


def _under_way(connection: Connection, ticket: Ticket) -> Parcel:
    parcel = handovers.parcel(connection, ticket.id) if ticket.ending is Ending.POSTED else None
    if parcel is None:
        raise Refused(say("This device was not posted."))
    if parcel.delivered_on or parcel.came_back_on:
        raise Refused(say("It is written down already what became of the parcel."))
    return parcel


def _day(desk: Desk, field: str, typed: str, since: datetime, policy: Policy) -> date:
    return _fit(desk, field, typed, local_day(since, policy), policy)


def _fit(desk: Desk, field: str, typed: str, earliest: date, policy: Policy) -> date:
    today = local_day(desk.clock.now(), policy)
    return posting.day_of(field, say("The day"), typed, earliest=earliest, today=today)

"""How its owner has a device back once it is ready: they come on a day, send somebody, or have it posted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules.collection_days import fit_day
from portal.rules.intake_record import unsafe
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.return_ways import Way
from portal.rules.sentences import say
from portal.rules.stages import Event, Hold
from portal.rules.text import line, passage
from portal.store import handovers, records
from portal.store.tickets import Ticket

NOT_BY_POST = say(
    "The battery of this device is damaged, so it must not be posted. Please come for it or send somebody, and ask us "
    "first how it is carried safely."
)


@dataclass(frozen=True)
class Wanted:
    """What is typed: the way; a day (ISO, needed to come, may be empty to send somebody); whom they send; where to.

    `confirmed` says that the address was read over.
    """

    way: str
    day: str = ""
    person: str = ""
    address: str = ""
    confirmed: bool = False


def choose(
    desk: Desk, by: By, number: str, wanted: Wanted, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Choose how a device that is ready goes back, in place of what was chosen before. A day moves the reminders.

    Raises Unfit (fields "way", "day", "person", "address", "confirmed"); Refused for a device that is not ready, waits
    for a dispute to be settled, or must not be posted.
    """
    now = desk.clock.now()

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        must_be_ready(ticket, policy)
        way = _way(wanted.way, policy)
        if way is Way.POST and not may_be_posted(connection, ticket):
            raise Refused(NOT_BY_POST)
        values = _values(way, wanted, now, policy)
        before = handovers.choice(connection, ticket.id)
        day = values["day"]

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            kept = before.day if before and day is None else day  # a calendar that has the old day hears that it is off
            sequence = before.sequence + 1 if before else 0
            handovers.choose(
                connection, ticket.id, before, values | {"day": kept, "sequence": sequence, "chosen_at": now}
            )

        return Change([_event(way, day)], columns={"collect_on": day, "remind_at": None}, write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def must_be_ready(ticket: Ticket, policy: Policy) -> None:
    """Raise Refused for a device that nobody can have back now."""
    if ticket.ending is not None:
        raise Refused(say("This device has left the shop."))
    if ticket.stage != policy.stages[-1].key:
        raise Refused(say("This device is not ready. We tell you as soon as it is; then you can choose."))
    if ticket.hold is Hold.DISPUTE or ticket.claimed_at is not None:
        raise Refused(say("A question about this device is settled first. Your device is safe here."))


def may_be_posted(connection: Connection, ticket: Ticket) -> bool:
    """Whether no flagged battery forbids the post."""
    version = records.newest(connection, ticket.id)
    return version is None or not unsafe(version.record, made_safe=version.made_safe_at is not None)


def _way(typed: str, policy: Policy) -> Way:
    if typed not in policy.handover.offers:
        raise Unfit("way", say("Please choose one of the ways in which you can have it back."))
    return Way(typed)


def _values(way: Way, wanted: Wanted, now: datetime, policy: Policy) -> dict[str, object]:
    """What is kept: nothing that belongs to another way."""
    day, person, address = None, "", ""
    if way is Way.COLLECT or (way is Way.SEND and wanted.day.strip()):
        day = fit_day(wanted.day, now, policy)
    if way is Way.SEND:
        person = line("person", say("The name of whom you send"), wanted.person, required=True)
    if way is Way.POST:
        address = passage("address", say("The address"), wanted.address, limit=400, required=True)
        if not wanted.confirmed:
            raise Unfit("confirmed", say("Please read the address over once more, and tick that it is right."))
    return {"way": way.value, "day": day, "person": person, "address": address}


def _event(way: Way, day: object) -> Event:
    if isinstance(day, date):
        return Event("return_day_chosen", {"way": way.value, "day": day.isoformat()})
    return Event("return_chosen", {"way": way.value})

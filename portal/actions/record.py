"""The intake record: written down at the bench, answered once by the customer; and a damaged battery dealt with."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from portal.actions.desk import CUSTOMER, By, Change, Desk, Outcome, change_ticket
from portal.rules import stages
from portal.rules.intake_record import Record, fit, unsafe
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, needs
from portal.rules.sentences import say
from portal.rules.stages import Event, Hold
from portal.rules.text import passage
from portal.store import records
from portal.store.records import Version
from portal.store.tickets import Ticket


def record(
    desk: Desk,
    by: By,
    number: str,
    written: Record,
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Write the intake record, or a new version of it. A flagged battery puts the ticket on hold for safety.

    Raises what `rules.intake_record.fit` raises, Refused once the ticket has ended, and what `change_ticket` raises.
    """
    fitted = fit(written, confirmed=confirmed)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if ticket.ending:
            raise Refused(say("This ticket has ended. Its device is no longer in the shop."))
        last = records.newest(connection, ticket.id)
        version = last.version + 1 if last else 1
        dealt_with = last.made_safe_at if last and set(fitted.battery) <= set(last.record.battery) else None
        events = [Event("recorded", {"version": str(version)})]
        flagged = unsafe(fitted, made_safe=dealt_with is not None)
        if flagged and ticket.stage and ticket.hold is not Hold.SAFETY:
            events += stages.set_hold(ticket.standing, Hold.SAFETY)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            records.add(connection, ticket.id, version, fitted, now, dealt_with)

        return Change(events, write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def make_safe(
    desk: Desk, by: By, number: str, how: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Record how a flagged battery was dealt with, which ends the hold for safety.

    Raises Unfit without words, Refused when none is flagged.
    """
    words = passage("how", say("How the battery was dealt with"), how, limit=400, required=True)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        last = records.newest(connection, ticket.id)
        if last is None or not unsafe(last.record, made_safe=last.made_safe_at is not None):
            raise Refused(say("No damaged battery is flagged."))
        events = [Event("made_safe")]
        if ticket.hold is Hold.SAFETY:
            events += stages.lift_hold(ticket.standing)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            records.make_safe(connection, ticket.id, last.version, now)

        return Change(events, text=words, audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def agree(desk: Desk, number: str, version: int, *, deed_key: str | None = None) -> Outcome:
    """The customer says that this version of the record is right. Raises Refused when it is answered or outdated."""
    return _answer(desk, number, version, "agreed", "", deed_key)


def object_to(desk: Desk, number: str, version: int, words: str, *, deed_key: str | None = None) -> Outcome:
    """The customer objects to this version of the record in words, which the bench reads.

    Raises Unfit without words, Refused when it is answered or outdated.
    """
    said = passage("objection", say("What is not right"), words, limit=1000)
    if not said:
        raise needs("objection", say("What is not right"))
    return _answer(desk, number, version, "objected", said, deed_key)


def _answer(desk: Desk, number: str, version: int, given: str, words: str, deed_key: str | None) -> Outcome:
    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if ticket.ending:
            raise Refused(say("This repair has ended. To say something about it, please write to the shop or call."))
        _answerable(records.newest(connection, ticket.id), version)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            if not records.answer(connection, ticket.id, version, given, words, now):
                raise Refused(_ANSWERED)

        event = "agreed_record" if given == "agreed" else "objected"
        return Change([Event(event, {"version": str(version)})], text=words, write=write)

    return change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key)


_ANSWERED = say("You have answered this already. To say more, please write to the shop or call.")


def _answerable(last: Version | None, version: int) -> None:
    if last is None:
        raise Refused(say("Nothing is recorded yet."))
    if last.version != version:
        raise Refused(say("The record has changed since this page was opened. Please read it again, then answer."))
    if last.answer:
        raise Refused(_ANSWERED)

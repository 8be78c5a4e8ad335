"""The tray: what is taken out of a device, and how each thing ends."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, Outcome, change_ticket, find
from portal.rules import tray
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, needs
from portal.rules.secrets import ask_about_secrets
from portal.rules.sentences import say
from portal.rules.stages import Event, must_be_here
from portal.rules.text import line as text_line
from portal.rules.tray import NewLine, TrayLine
from portal.store import trays
from portal.store.tickets import Ticket


@dataclass(frozen=True)
class Ended:
    """How some of a line ended. `count` None stands for all that is left of it."""

    line: int
    how: str
    count: str | int | None = None
    replaced_by: str = ""


def take_out(
    desk: Desk,
    by: By,
    number: str,
    new: Sequence[NewLine],
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Put lines into the tray, all or none. Raises what `rules.tray.take_out` raises."""
    if not new:
        raise needs("what", say("What was taken out"))
    ask_about_secrets(*(line.what for line in new), confirmed=confirmed)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        known = _here(connection, ticket)
        added: list[TrayLine] = []
        for each in new:
            added.append(tray.take_out(each, [*known, *added]))
        events = [Event("tray_opened", {"line": str(line.line), "count": str(line.count)}) for line in added]
        told = "; ".join(f"{line.count} × {line.what}" if line.counted else line.what for line in added)

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            trays.add(connection, ticket.id, added)

        return Change(events, text=told, audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def end(
    desk: Desk,
    by: By,
    number: str,
    ended: Sequence[Ended],
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Say how lines ended, all or none. Raises what `rules.tray.end` raises, Refused for a line that is not there."""
    if not ended:
        raise needs("line", say("The line of the tray"))

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        lines = {line.line: line for line in _here(connection, ticket)}
        events, told = [], []
        for each in ended:
            before = _line(lines, each.line)
            after = tray.end(before, each.how, each.count, each.replaced_by)
            lines[each.line] = after
            number_ended = str(after.ended - before.ended)
            data = {"line": str(each.line), "how": each.how, "count": number_ended, "left": str(after.left)}
            events.append(Event("tray_closed", data))
            told.append(before.what)

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            trays.change(connection, ticket.id, [lines[each] for each in dict.fromkeys(e.line for e in ended)])

        return Change(events, text="; ".join(dict.fromkeys(told)), audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def end_all(
    desk: Desk, by: By, number: str, how: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Say that all the customer's things still in the tray ended alike. Raises Refused when none is left."""
    with desk.reading() as connection:
        ticket = find(connection, number)
        left = tray.open_lines(trays.lines(connection, ticket.id))
    if not left:
        raise Refused(say("Nothing is left in the tray."))
    ended = [Ended(line.line, how) for line in left]
    return end(desk, by, number, ended, seen=ticket.revision if seen is None else seen, deed_key=deed_key)


def recount(
    desk: Desk,
    by: By,
    number: str,
    line: int,
    count: str | int,
    why: str,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Put a line's count right; the reason stands in the journal. Raises what `rules.tray.recount` raises."""
    reason = text_line("why", say("The reason"), why, limit=400)

    def change(known: TrayLine) -> tuple[TrayLine, Event]:
        after = tray.recount(known, count, reason)
        return after, Event("tray_recounted", {"line": str(line), "count": str(after.count)})

    return _put_right(desk, by, number, line, reason, change, seen, deed_key)


def strike(
    desk: Desk, by: By, number: str, line: int, why: str, *, seen: int | None = None, deed_key: str | None = None
) -> Outcome:
    """Strike a line that was a mistake; the reason stands in the journal. Raises what `rules.tray.strike` raises."""
    reason = text_line("why", say("The reason"), why, limit=400)

    def change(known: TrayLine) -> tuple[TrayLine, Event]:
        return tray.strike(known, reason), Event("tray_struck", {"line": str(line)})

    return _put_right(desk, by, number, line, reason, change, seen, deed_key)


def _put_right(
    desk: Desk,
    by: By,
    number: str,
    line: int,
    reason: str,
    change: Callable[[TrayLine], tuple[TrayLine, Event]],
    seen: int | None,
    deed_key: str | None,
) -> Outcome:
    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        after, event = change(_line({known.line: known for known in _here(connection, ticket)}, line))

        def write(connection: Connection, ticket: Ticket, _now: datetime) -> None:
            trays.change(connection, ticket.id, [after])

        return Change([event], text=reason, audience="bench", write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def _here(connection: Connection, ticket: Ticket) -> list[TrayLine]:
    must_be_here(ticket.standing)
    return trays.lines(connection, ticket.id)


def _line(lines: Mapping[int, TrayLine], number: int) -> TrayLine:
    if number not in lines:
        raise Refused(say("The tray has no line {line}.", line=number))
    return lines[number]

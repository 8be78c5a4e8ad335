"""Where a device lies, until when it is needed, and whether it is urgent."""

from __future__ import annotations

from datetime import date

from sqlalchemy import Connection

from portal.actions.desk import By, Change, Desk, Outcome, change_ticket
from portal.rules.days import read_day
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import line
from portal.store.tickets import Ticket


def put(
    desk: Desk,
    by: By,
    number: str,
    *,
    place: str = "",
    needed_by: str = "",
    express: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Note the place on the shelf, the date it is needed by (ISO, "" for none) and the express mark.

    Raises Unfit for a date that is none, Refused where nothing would change.
    """
    values: dict[str, object] = {
        "place": line("place", say("The place"), place, limit=40),
        "needed_by": day("needed_by", needed_by),
        "express": express,
    }

    def decide(_connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if all(getattr(ticket, name) == value for name, value in values.items()):
            raise Refused(say("Nothing was changed."))
        return Change([Event("shelved")], audience="bench", columns=values)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def day(field: str, typed: str) -> date | None:
    """A date as a date field sends it, or None for none. Raises Unfit."""
    return read_day(field, typed) if typed.strip() else None

"""Devices' ways through the shop, as the journal tells them; nothing of whose they were."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import groupby

from sqlalchemy import Connection, bindparam, select

from portal.rules.forecast import Course, course
from portal.rules.stages import Event
from portal.store.journal import STANDING_EVENTS
from portal.store.tables import journal, tickets

_ALL = (
    select(tickets.c.number, tickets.c.kind, journal.c.at, journal.c.event, journal.c.data)
    .join(tickets, journal.c.ticket_id == tickets.c.id)
    .where(journal.c.event.in_((*STANDING_EVENTS, "taken_over", "promised")))
    .order_by(tickets.c.id, journal.c.entry)
)
_NEWEST = select(tickets.c.id).order_by(tickets.c.id.desc()).offset(bindparam("skipped")).limit(1)
_SINCE = _ALL.where(tickets.c.id > bindparam("before"))


def all_courses(connection: Connection, stages: Sequence[str], newest: int | None = None) -> dict[str, Course]:
    """Every device's way, or those of the newest tickets, by the ticket's number, the oldest ticket first.

    `stages` are the keys of the shop's stages.
    """
    before = connection.execute(_NEWEST, {"skipped": newest}).scalar() if newest else None
    found = {}
    rows_of = connection.execute(_SINCE, {"before": before or 0})
    for (number, kind), rows in groupby(rows_of, key=lambda row: (row[0], row[1])):
        way = course(kind, _events(rows), stages)
        if way is not None:
            found[number] = way
    return found


def _events(rows: Iterator[tuple[str, str, datetime, str, dict[str, str]]]) -> Iterator[tuple[datetime, Event]]:
    for _number, _kind, at, name, data in rows:
        yield at, Event(name, data)

"""Devices' ways through the shop, as the journal tells them; nothing of whose they were."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import Any

from sqlalchemy import Connection, bindparam, select

from portal.rules.forecast import Course, course
from portal.rules.stages import Event
from portal.store.journal import STANDING_EVENTS
from portal.store.tables import journal, tickets

_TOLD = (*STANDING_EVENTS, "taken_over", "promised")
_STEPS = (
    select(tickets.c.number, tickets.c.kind, journal.c.at, journal.c.event, journal.c.data)
    .join(tickets, journal.c.ticket_id == tickets.c.id)
    .order_by(tickets.c.id, journal.c.entry)
)
_NEWEST = select(tickets.c.id).order_by(tickets.c.id.desc()).offset(bindparam("skipped")).limit(1)
_SINCE = _STEPS.where(journal.c.event.in_(_TOLD), tickets.c.id > bindparam("before"))
# By the ticket’s entries, not by the index of events, which SQLite would go through for every repair ever.
_FEW = _STEPS.where((journal.c.event + "").in_(_TOLD))
_THESE = _FEW.where(tickets.c.id.in_(bindparam("ids", expanding=True)))
_HERE = select(tickets.c.id).where(tickets.c.ending.is_(None), tickets.c.stage.is_not(None)).correlate(None)
_OPEN = _FEW.where(tickets.c.id.in_(_HERE))


def all_courses(connection: Connection, stages: Sequence[str], newest: int | None = None) -> dict[str, Course]:
    """Every device's way, or those of the newest tickets, by the ticket's number, the oldest ticket first.

    `stages` are the keys of the shop's stages.
    """
    before = connection.execute(_NEWEST, {"skipped": newest}).scalar() if newest else None
    return _courses(connection.execute(_SINCE, {"before": before or 0}), stages)


def courses_of(connection: Connection, ids: Sequence[int], stages: Sequence[str]) -> dict[str, Course]:
    """The ways of the tickets with these ids."""
    return _courses(connection.execute(_THESE, {"ids": ids}), stages)


def open_courses(connection: Connection, stages: Sequence[str]) -> dict[str, Course]:
    """The ways so far of the devices that are here."""
    return _courses(connection.execute(_OPEN), stages)


def _courses(rows: Iterable[Any], stages: Sequence[str]) -> dict[str, Course]:
    found = {}
    for (number, kind), steps in groupby(rows, key=lambda row: (row[0], row[1])):
        way = course(kind, ((at, Event(name, data)) for *_of, at, name, data in steps), stages)
        if way is not None:
            found[number] = way
    return found

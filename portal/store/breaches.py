"""The record of breaches: what was touched, whom it concerns by number, and when who was told (GDPR Art. 33(5))."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, func, insert, select, true, update

from portal.rules.retention import Kept
from portal.store.photo_tables import photos
from portal.store.rights_tables import breaches
from portal.store.tables import contacts, tickets, visits

_ALL = (
    breaches.c.id,
    breaches.c.ref,
    breaches.c.aware_at,
    breaches.c.happened,
    breaches.c.kinds,
    breaches.c.numbers,
    breaches.c.counts,
    breaches.c.consequences,
    breaches.c.measures,
    breaches.c.told_at,
    breaches.c.late_because,
    breaches.c.people_told_at,
    breaches.c.closed_at,
    breaches.c.deed_key,
)
_LIST = select(*_ALL).order_by(breaches.c.aware_at.desc(), breaches.c.id.desc())
_UNTOLD = (
    select(*_ALL)
    .where(breaches.c.told_at.is_(None), breaches.c.closed_at.is_(None))
    .order_by(breaches.c.aware_at, breaches.c.id)
)
_BY_REF = select(*_ALL).where(breaches.c.ref == bindparam("wanted"))
_BY_KEY = select(*_ALL).where(breaches.c.deed_key == bindparam("wanted"))
_CHANGE = update(breaches).where(breaches.c.ref == bindparam("wanted"), breaches.c.closed_at.is_(None))
_OLD = breaches.c.closed_at < bindparam("before")
_COUNT_OLD = select(func.count()).select_from(breaches).where(_OLD)
_FORGET = delete(breaches).where(_OLD)


@dataclass(frozen=True)
class Counts:
    """How many of each it concerns (GDPR Art. 33(3)(a): approximate numbers of people and of records)."""

    visits: int
    contacts: int
    tickets: int
    photos: int


@dataclass(frozen=True)
class Breach:
    """One breach. `numbers` are tickets, none where it concerns every visit; `counts` is whom it concerned then."""

    id: int
    ref: str
    aware_at: datetime
    happened: str
    kinds: Sequence[Kept]
    numbers: Sequence[str]
    counts: Counts
    consequences: str
    measures: str
    told_at: datetime | None
    late_because: str
    people_told_at: datetime | None
    closed_at: datetime | None
    deed_key: str | None


def add(connection: Connection, values: dict[str, object]) -> None:
    """Write a breach down."""
    connection.execute(insert(breaches), values)


def all_of_them(connection: Connection) -> list[Breach]:
    """Every breach, the newest first."""
    return [_breach(row) for row in connection.execute(_LIST)]


def untold(connection: Connection) -> list[Breach]:
    """The open ones of which the authority has not been told, the most pressing first."""
    return [_breach(row) for row in connection.execute(_UNTOLD)]


def by_ref(connection: Connection, ref: str) -> Breach | None:
    """The breach with this public id, or None."""
    row = connection.execute(_BY_REF, {"wanted": ref}).first()
    return _breach(row) if row else None


def of_deed(connection: Connection, deed_key: str | None) -> Breach | None:
    """The breach that a form wrote last, or None."""
    row = connection.execute(_BY_KEY, {"wanted": deed_key}).first() if deed_key else None
    return _breach(row) if row else None


def change(connection: Connection, ref: str, values: dict[str, object]) -> bool:
    """Write what is known by now. False once it is closed."""
    return connection.execute(_CHANGE.values(**values), {"wanted": ref}).rowcount == 1


def concerned(connection: Connection, numbers: Sequence[str]) -> Counts:
    """How many of each hang on the visits of these tickets, or are there at all where none are named."""
    of = select(tickets.c.visit_id).where(tickets.c.number.in_(numbers))
    wanted = (
        (visits, visits.c.id.in_(of)),
        (contacts, contacts.c.visit_id.in_(of)),
        (tickets, tickets.c.visit_id.in_(of)),
        (photos, photos.c.ticket_id.in_(select(tickets.c.id).where(tickets.c.visit_id.in_(of)))),
    )
    found = [
        connection.execute(select(func.count()).select_from(table).where(condition if numbers else true())).scalar_one()
        for table, condition in wanted
    ]
    return Counts(*found)


def count_old(connection: Connection, before: datetime) -> int:
    """How many breaches were closed before a moment."""
    return connection.execute(_COUNT_OLD, {"before": before}).scalar_one()


def forget(connection: Connection, before: datetime) -> int:
    """Erase what was closed before a moment, and tell how many those were."""
    return connection.execute(_FORGET, {"before": before}).rowcount


def _breach(row: Any) -> Breach:
    return Breach(**dict(row._mapping) | {"kinds": [Kept(kind) for kind in row.kinds], "counts": Counts(**row.counts)})

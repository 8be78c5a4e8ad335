"""What an owner wished in writing about a device or its data, and signatures for a handover: kept as evidence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from portal.rules.giving_up import Data, How, Wish
from portal.store.handover_tables import handover_signatures, wishes
from portal.store.tables import tickets

_OF_TICKET = (
    select(
        wishes.c.id,
        wishes.c.gives_up,
        wishes.c.data,
        wishes.c.how,
        wishes.c.shown,
        wishes.c.typed,
        wishes.c.language,
        wishes.c.given_at,
        wishes.c.taken_back_at,
    )
    .where(wishes.c.ticket_id == bindparam("ticket_id"))
    .order_by(wishes.c.id.desc())
)
_STANDING = _OF_TICKET.where(wishes.c.taken_back_at.is_(None)).limit(1)
_TAKE_BACK = (
    update(wishes)
    .where(wishes.c.ticket_id == bindparam("of_ticket"), wishes.c.taken_back_at.is_(None))
    .values(taken_back_at=bindparam("now"))
)
_WISHED = (
    select(tickets.c.number, tickets.c.device, wishes.c.given_at)
    .join(tickets, wishes.c.ticket_id == tickets.c.id)
    .where(tickets.c.ending.is_(None), wishes.c.taken_back_at.is_(None), wishes.c.gives_up)
    .order_by(wishes.c.given_at)
)
_STROKES = select(handover_signatures.c.strokes).where(
    handover_signatures.c.ticket_id == bindparam("ticket_id"), handover_signatures.c.entry == bindparam("at_entry")
)
_OF_VISIT = select(tickets.c.id).where(tickets.c.visit_id == bindparam("wanted"))
_FORGET = [delete(table).where(table.c.ticket_id.in_(_OF_VISIT)) for table in (wishes, handover_signatures)]


@dataclass(frozen=True)
class Kept:
    """A wish as it was given. `shown` are the words agreed to, or where the paper lies; `typed` the word typed."""

    id: int
    wish: Wish
    how: How
    shown: str
    typed: str
    language: str
    taken_back_at: datetime | None


@dataclass(frozen=True)
class GivenUp:
    """A device that is here, and that its owner gives up."""

    number: str
    device: str
    at: datetime


def given_up(connection: Connection) -> list[GivenUp]:
    """The devices that are here though their owners have given them up, the longest waiting first."""
    return [GivenUp(*tuple(row)) for row in connection.execute(_WISHED)]


def standing(connection: Connection, ticket_id: int) -> Kept | None:
    """The wish that stands, or None."""
    row = connection.execute(_STANDING, {"ticket_id": ticket_id}).first()
    return _kept(tuple(row)) if row else None


def add(connection: Connection, values: dict[str, object]) -> None:
    """Write a wish; `values` are the columns by name."""
    connection.execute(insert(wishes), values)


def take_back(connection: Connection, ticket_id: int, now: datetime) -> int:
    """The wishes of a ticket stand no more. Tells how many did."""
    return connection.execute(_TAKE_BACK, {"of_ticket": ticket_id, "now": now}).rowcount


def sign(connection: Connection, ticket_id: int, entry: int, strokes: list[list[list[int]]], now: datetime) -> None:
    """Keep a signature for the journal entry of a handover."""
    values = {"ticket_id": ticket_id, "entry": entry, "strokes": strokes, "at": now}
    connection.execute(insert(handover_signatures), values)


def signature(connection: Connection, ticket_id: int, entry: int) -> list[list[list[int]]] | None:
    """The strokes kept for a handover, or None."""
    found: list[list[list[int]]] | None = connection.execute(
        _STROKES, {"ticket_id": ticket_id, "at_entry": entry}
    ).scalar()
    return found


def forget(connection: Connection, visit_id: int) -> None:
    """Erase the wishes and signatures of a visit."""
    for statement in _FORGET:
        connection.execute(statement, {"wanted": visit_id})


def _kept(row: tuple[Any, ...]) -> Kept:
    number, gives_up, data, how, shown, typed, language, given_at, taken_back_at = row
    return Kept(number, Wish(gives_up, Data(data), given_at), How(how), shown, typed, language, taken_back_at)

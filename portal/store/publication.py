"""Consents to publish pictures or film of a device: at most one stands for a ticket, and none is a no."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from portal.store.publication_tables import publication_consents as table
from portal.store.tables import tickets


@dataclass(frozen=True)
class Consent:
    """A consent that stands: the words agreed to, in which language, who gave it or heard it, and when."""

    shown: str
    language: str
    by_kind: str
    given_at: datetime


_STANDING = select(table.c.shown, table.c.language, table.c.by_kind, table.c.given_at).where(
    table.c.ticket_id == bindparam("ticket_id"), table.c.withdrawn_at.is_(None)
)
_TAKE_BACK = (
    update(table)
    .where(
        table.c.ticket_id == select(tickets.c.id).where(tickets.c.ref == bindparam("wanted")).scalar_subquery(),
        table.c.withdrawn_at.is_(None),
    )
    .values(withdrawn_at=bindparam("now"))
)
_FORGET = delete(table).where(
    table.c.ticket_id.in_(select(tickets.c.id).where(tickets.c.visit_id == bindparam("wanted")))
)


def standing(connection: Connection, ticket_id: int) -> Consent | None:
    """The consent that stands for a ticket, or None: not for publication."""
    row = connection.execute(_STANDING, {"ticket_id": ticket_id}).first()
    return Consent(*tuple(row)) if row else None


def add(connection: Connection, values: dict[str, object]) -> None:
    """Write a consent; `values` are the columns by name."""
    connection.execute(insert(table), values)


def take_back(connection: Connection, ticket_ref: str, now: datetime) -> None:
    """The consent of a ticket stands no more."""
    connection.execute(_TAKE_BACK, {"wanted": ticket_ref, "now": now})


def forget(connection: Connection, visit_id: int) -> None:
    """Erase whether the devices of a visit might be published."""
    connection.execute(_FORGET, {"wanted": visit_id})

"""Announcements: devices on their way by post."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, insert, select, update

from portal.rules.intake_record import Item
from portal.store.bench_tables import announcements as table
from portal.store.tables import tickets

_OF_TICKET = select(
    table.c["items"],
    table.c.return_address,
    table.c.declared_minor,
    table.c.received_at,
    table.c.arrived,
    table.c.parcel_damage,
).where(table.c.ticket_id == bindparam("ticket_id"))
_RECEIVE = (
    update(table)
    .where(table.c.ticket_id == bindparam("of_ticket"))
    .values(received_at=bindparam("now"), arrived=bindparam("came"), parcel_damage=bindparam("damage"))
)


_here = tickets.alias("here")
_NEVER_CAME = (
    select(tickets.c.visit_id)
    .where(
        tickets.c.stage.is_(None),
        tickets.c.ending.is_(None),
        tickets.c.made_at < bindparam("before"),
        ~select(_here.c.id).where(_here.c.visit_id == tickets.c.visit_id, _here.c.stage.is_not(None)).exists(),
    )
    .distinct()
    .limit(bindparam("most"))
)


@dataclass(frozen=True)
class Announcement:
    """What a customer said would come, and what came. `declared_minor` is in the shop's currency's minor units."""

    items: Sequence[Item]
    return_address: str
    declared_minor: int | None
    received_at: datetime | None
    arrived: Sequence[Item]
    parcel_damage: str


def of_ticket(connection: Connection, ticket_id: int) -> Announcement | None:
    """The announcement of a ticket, or None for one that came unannounced."""
    row = connection.execute(_OF_TICKET, {"ticket_id": ticket_id}).first()
    if row is None:
        return None
    items, address, declared, received_at, arrived, damage = row
    return Announcement(_items(items), address, declared, received_at, _items(arrived), damage)


def add(
    connection: Connection, ticket_id: int, items: Sequence[Item], return_address: str, declared_minor: int | None
) -> None:
    """Write an announcement."""
    connection.execute(
        insert(table),
        {
            "ticket_id": ticket_id,
            "items": [asdict(item) for item in items],
            "return_address": return_address,
            "declared_minor": declared_minor,
            "arrived": [],
        },
    )


def receive(connection: Connection, ticket_id: int, arrived: Sequence[Item], parcel_damage: str, now: datetime) -> None:
    """Write what came."""
    came = [asdict(item) for item in arrived]
    connection.execute(_RECEIVE, {"of_ticket": ticket_id, "now": now, "came": came, "damage": parcel_damage})


def never_came(connection: Connection, before: datetime, most: int) -> Sequence[int]:
    """At most so many visits that were announced before a moment, and of which nothing has come."""
    return connection.execute(_NEVER_CAME, {"before": before, "most": most}).scalars().all()


def _items(stored: Sequence[dict[str, object]]) -> tuple[Item, ...]:
    return tuple(Item(**item) for item in stored)  # type: ignore[arg-type]

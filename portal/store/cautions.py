"""Which cautions a person has acknowledged, for one ticket or for all."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, insert, select

from portal.rules.cautions import Acknowledged
from portal.store.bench_tables import acknowledgements as table

_KNOWN = select(table.c.caution, table.c.wording, table.c.ticket_id).where(
    table.c.staff_id == bindparam("staff_id"),
    table.c.ticket_id.is_(None) | (table.c.ticket_id == bindparam("ticket_id")),
)


def known(connection: Connection, staff_id: int, ticket_id: int) -> set[Acknowledged]:
    """What a person has acknowledged for all tickets and for this one."""
    rows = connection.execute(_KNOWN, {"staff_id": staff_id, "ticket_id": ticket_id})
    return {Acknowledged(*tuple(row)) for row in rows}


def add(connection: Connection, staff_id: int, read: list[Acknowledged], now: datetime) -> None:
    """Write what a person has acknowledged."""
    values = [
        {
            "staff_id": staff_id,
            "caution": each.caution,
            "wording": each.wording,
            "ticket_id": each.ticket_id,
            "read_at": now,
        }
        for each in read
    ]
    if values:
        connection.execute(insert(table), values)

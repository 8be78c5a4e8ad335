"""The tray's lines."""

from __future__ import annotations

from dataclasses import asdict

from sqlalchemy import Connection, bindparam, insert, select, update

from portal.rules.tray import TrayLine
from portal.store.bench_tables import tray_lines as table

_COLUMNS = (
    table.c.line,
    table.c.what,
    table.c["count"],
    table.c.counted,
    table.c.taken_from,
    table.c.lies_at,
    table.c.length_warning,
    table.c.whose,
    table.c.put_back,
    table.c.replaced,
    table.c.handed_over,
    table.c.replaced_by,
    table.c.struck,
)
_OF_TICKET = select(*_COLUMNS).where(table.c.ticket_id == bindparam("ticket_id")).order_by(table.c.line)
_ONE = update(table).where(table.c.ticket_id == bindparam("of_ticket"), table.c.line == bindparam("of_line"))


def lines(connection: Connection, ticket_id: int) -> list[TrayLine]:
    """A ticket's tray, in the order in which things were taken out; struck lines too."""
    return [TrayLine(*tuple(row)) for row in connection.execute(_OF_TICKET, {"ticket_id": ticket_id})]


def add(connection: Connection, ticket_id: int, new: list[TrayLine]) -> None:
    """Write new lines."""
    connection.execute(insert(table), [asdict(line) | {"ticket_id": ticket_id} for line in new])


def change(connection: Connection, ticket_id: int, changed: list[TrayLine]) -> None:
    """Write changed lines over what they were."""
    for line in changed:
        connection.execute(_ONE.values(**asdict(line)), {"of_ticket": ticket_id, "of_line": line.line})

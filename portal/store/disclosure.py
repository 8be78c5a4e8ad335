"""All that is held of one visit: every row that hangs on it, whichever table that is in, by the foreign keys.

So a table that is added later is part of it without being named here. Of the staff and of the second person nothing is
told: their data is their own (GDPR Art. 15(4)). Neither is what says nothing of a person.
"""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import Column, Connection, Table, or_, select

from notifications.tables import outbox
from portal.rules.categories import Category
from portal.store.tables import contacts, metadata, tickets, visits

_TOLD = set(Category) - {Category.STAFF, Category.TECHNICAL, Category.NONE}
_NAMED = {"number", "at", "entry"}  # without them a row could not be understood
Rows = dict[str, list[dict[str, Any]]]


def of_visit(connection: Connection, visit_id: int) -> Rows:
    """Rows by table, columns by name: only categories of personal data, JSON as it is, moments as ISO 8601."""
    ids: dict[str, set[Any]] = {visits.name: {visit_id}}
    found: Rows = {}
    for table in metadata.sorted_tables:
        condition = _hangs_on(table, ids)
        if condition is None:
            continue
        rows = connection.execute(select(table).where(condition)).mappings().all()
        if table is contacts:
            rows = [row for row in rows if row["role"] == "owner"]
        keys = list(table.primary_key)
        if len(keys) == 1:
            ids[table.name] = {row[keys[0].name] for row in rows}
        told = [_told(table, dict(row)) for row in rows]
        if any(told):
            found[table.name] = told
    found[outbox.name] = _messages(connection, visit_id)
    return {name: rows for name, rows in found.items() if rows}


def photo_refs(rows: Rows) -> list[str]:
    """The photos that are among them."""
    return [row["ref"] for row in rows.get("photos", [])]


def _hangs_on(table: Table, ids: dict[str, set[Any]]) -> Any:
    """The condition for rows of this table that hang on what was found, or None where none can."""
    if table is visits:
        return visits.c.id.in_(ids[visits.name])
    ways = [
        column.in_(sorted(ids[key.column.table.name]))
        for column in table.columns
        for key in column.foreign_keys
        if ids.get(key.column.table.name) and key.column.primary_key
    ]
    return or_(*ways) if ways else None


def _messages(connection: Connection, visit_id: int) -> list[dict[str, Any]]:
    refs = [
        *connection.execute(select(visits.c.ref).where(visits.c.id == visit_id)).scalars(),
        *connection.execute(select(tickets.c.ref).where(tickets.c.visit_id == visit_id)).scalars(),
    ]
    rows = connection.execute(select(outbox).where(outbox.c.reference.in_(refs)).order_by(outbox.c.id)).mappings()
    return [
        {
            "event": row["event"],
            "state": row["state"],
            "made_at": _plain(row["made_at"]),
            "at": _plain(row["settled_at"]),
        }
        for row in rows
        if not row["recipient"].startswith("staff")
    ]


def _told(table: Table, row: dict[str, Any]) -> dict[str, Any]:
    return {column.name: _plain(row[column.name]) for column in table.columns if _is_told(column)}


def _is_told(column: Column[Any]) -> bool:
    return Category(column.info["category"]) in _TOLD or column.name in _NAMED


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, (datetime, date)) else value

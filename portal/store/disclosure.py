"""All that is held of one visit: every row that hangs on it, whichever table that is in, by the foreign keys.

So a table that is added later is part of it without being named here. Of the staff and of the second person nothing is
told: their data is their own (GDPR Art. 15(4)). Neither is what says nothing of a person.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Table, or_, select

from notifications.tables import outbox
from portal.rules.categories import Category
from portal.store.rights_tables import requests
from portal.store.tables import contacts, journal, metadata, tickets, visits

_TOLD = set(Category) - {Category.STAFF, Category.TECHNICAL, Category.NONE}
_NAMED = {"number", "at", "entry"}  # without them a row could not be understood
Rows = dict[str, list[dict[str, Any]]]


def of_visit(connection: Connection, visit_id: int) -> Rows:
    """Rows by table, columns by name: only categories of personal data, JSON as it is, moments as ISO 8601."""
    found = _following(connection, visits, visit_id)
    seconds = select(contacts.c.ref).where(contacts.c.visit_id == visit_id, contacts.c.role == "second")
    to_others = set(connection.execute(seconds).scalars())
    found[outbox.name] = _messages(connection, _about(connection, visit_id), but=to_others)
    return {name: rows for name, rows in found.items() if rows}


def of_second(connection: Connection, visit_id: int) -> Rows:
    """All that is held of a visit's second person: who they are, what they wrote and asked, what was sent to them."""
    second = connection.execute(
        select(contacts.c.id, contacts.c.ref).where(contacts.c.visit_id == visit_id, contacts.c.role == "second")
    ).first()
    if second is None:
        return {}
    found = _following(connection, contacts, second.id)
    entries = connection.execute(
        select(journal)
        .join(tickets, tickets.c.id == journal.c.ticket_id)
        .where(tickets.c.visit_id == visit_id, journal.c.event == "wrote")
        .order_by(journal.c.ticket_id, journal.c.entry)
    ).mappings()
    found[journal.name] = [_told(journal, dict(row)) for row in entries if row["data"].get("writer") == "second"]
    asked = select(requests).where(requests.c.visit_id == visit_id, requests.c.whose == "second")
    found[requests.name] = [_told(requests, dict(row)) for row in connection.execute(asked).mappings()]
    found[outbox.name] = _messages(connection, outbox.c.recipient == second.ref)
    return {name: rows for name, rows in found.items() if rows}


def _following(connection: Connection, root: Table, root_id: int) -> Rows:
    """The row of `root` and all that hangs on it; of a visit nothing that is its second person's own."""
    ids: dict[str, set[Any]] = {root.name: {root_id}}
    found: Rows = {}
    for table in metadata.sorted_tables:
        condition = root.c.id == root_id if table is root else _hangs_on(table, ids)
        if condition is None:
            continue
        rows = connection.execute(select(table).where(condition)).mappings().all()
        if root is visits:
            rows = [row for row in rows if not _is_a_seconds(table, dict(row))]
        keys = list(table.primary_key)
        if len(keys) == 1:
            ids[table.name] = {row[keys[0].name] for row in rows}
        told = [_told(table, dict(row)) for row in rows]
        if any(told):
            found[table.name] = told
    return found


def _is_a_seconds(table: Table, row: Mapping[str, Any]) -> bool:
    return (table is contacts and row["role"] == "second") or (table is requests and row["whose"] == "second")


def photo_refs(rows: Rows) -> list[str]:
    """The photos that are among them."""
    return [row["ref"] for row in rows.get("photos", [])]


def _hangs_on(table: Table, ids: dict[str, set[Any]]) -> Any:
    """The condition for rows of this table that hang on what was found, or None where none can."""
    ways = [
        column.in_(sorted(ids[key.column.table.name]))
        for column in table.columns
        for key in column.foreign_keys
        if ids.get(key.column.table.name) and key.column.primary_key
    ]
    return or_(*ways) if ways else None


def _about(connection: Connection, visit_id: int) -> ColumnElement[bool]:
    refs = [
        *connection.execute(select(visits.c.ref).where(visits.c.id == visit_id)).scalars(),
        *connection.execute(select(tickets.c.ref).where(tickets.c.visit_id == visit_id)).scalars(),
    ]
    return outbox.c.reference.in_(refs)


def _messages(connection: Connection, which: ColumnElement[bool], but: Collection[str] = ()) -> list[dict[str, Any]]:
    rows = connection.execute(select(outbox).where(which).order_by(outbox.c.id)).mappings()
    return [
        {
            "event": row["event"],
            "state": row["state"],
            "made_at": _plain(row["made_at"]),
            "at": _plain(row["settled_at"]),
        }
        for row in rows
        if not row["recipient"].startswith("staff") and row["recipient"] not in but
    ]


def _told(table: Table, row: dict[str, Any]) -> dict[str, Any]:
    return {column.name: _plain(row[column.name]) for column in table.columns if _is_told(column)}


def _is_told(column: Column[Any]) -> bool:
    return Category(column.info["category"]) in _TOLD or column.name in _NAMED


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, (datetime, date)) else value

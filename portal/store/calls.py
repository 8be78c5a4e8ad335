"""Calls that are to be made: a row each, noted when the channel “ring” is handed a message."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from portal.store.call_tables import calls_due


@dataclass(frozen=True)
class CallDue:
    """Somebody to ring. `recipient` is the contact's ref; `facts` are of all messages that gathered in this one."""

    id: int
    message_id: str
    recipient: str
    reference: str
    event: str
    facts: Sequence[Mapping[str, Any]]
    made_at: datetime


_KNOWN = select(calls_due.c.id).where(calls_due.c.message_id == bindparam("wanted"))
_OPEN = (
    select(
        calls_due.c.id,
        calls_due.c.message_id,
        calls_due.c.recipient,
        calls_due.c.reference,
        calls_due.c.event,
        calls_due.c.facts,
        calls_due.c.made_at,
    )
    .where(calls_due.c.closed_at.is_(None))
    .order_by(calls_due.c.made_at, calls_due.c.id)
)
_CLOSE = update(calls_due).where(calls_due.c.closed_at.is_(None)).values(closed_at=bindparam("now"))
_CLOSE_ONE = _CLOSE.where(calls_due.c.id == bindparam("wanted"))
_CLOSE_CONTACTS = _CLOSE.where(calls_due.c.recipient == bindparam("wanted"))
_FORGET = delete(calls_due).where(calls_due.c.reference == bindparam("wanted"))


def note(
    connection: Connection,
    message_id: str,
    recipient: str,
    reference: str,
    event: str,
    facts: Sequence[Mapping[str, Any]],
    now: datetime,
) -> None:
    """Note a call. The same message once more notes no second one."""
    if connection.execute(_KNOWN, {"wanted": message_id}).first() is None:
        values = {"message_id": message_id, "recipient": recipient, "reference": reference, "event": event}
        connection.execute(insert(calls_due), values | {"facts": [dict(each) for each in facts], "made_at": now})


def due(connection: Connection) -> list[CallDue]:
    """The calls that nobody has made yet, the oldest first."""
    return [CallDue(*tuple(row)) for row in connection.execute(_OPEN)]


def close(connection: Connection, call_id: int, now: datetime) -> bool:
    """The call was made, or is no longer wanted. False where it was closed before."""
    return connection.execute(_CLOSE_ONE, {"wanted": call_id, "now": now}).rowcount == 1


def close_all_of(connection: Connection, recipient: str, now: datetime) -> int:
    """Close all calls to one contact, who was just spoken to, and tell how many those were."""
    return connection.execute(_CLOSE_CONTACTS, {"wanted": recipient, "now": now}).rowcount


def forget(connection: Connection, reference: str) -> int:
    """Delete every call about `reference`, made or not, and tell how many those were."""
    return connection.execute(_FORGET, {"wanted": reference}).rowcount

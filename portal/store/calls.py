"""Calls that are to be made: a row each, noted when the channel “ring” is handed a message."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, delete, func, insert, select, update

from portal.rules.messages import HEARD_ALL_THE_SAME, Wants
from portal.store.call_tables import calls_due
from portal.store.tables import contacts, tickets, visits


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


@dataclass(frozen=True)
class Waiting:
    """A call to make, as a list shows it: whom, about what, of which device (of a visit's: the first)."""

    event: str
    made_at: datetime
    contact_ref: str
    name: str
    phone: str
    number: str
    device: str
    stage: str | None
    ending: str | None


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
_FIRST = select(func.min(tickets.c.id)).where(tickets.c.visit_id == visits.c.id).correlate(visits).scalar_subquery()
_WAITING = (
    select(
        calls_due.c.event,
        calls_due.c.made_at,
        contacts.c.ref,
        contacts.c.name,
        contacts.c.phone,
        tickets.c.number,
        tickets.c.device,
        tickets.c.stage,
        tickets.c.ending,
    )
    .join(contacts, contacts.c.ref == calls_due.c.recipient)
    .join(visits, visits.c.id == contacts.c.visit_id)
    .join(
        tickets,
        (tickets.c.visit_id == visits.c.id)
        & (
            (tickets.c.ref == calls_due.c.reference)
            | ((visits.c.ref == calls_due.c.reference) & (tickets.c.id == _FIRST))
        ),
    )
    .where(
        calls_due.c.closed_at.is_(None),
        contacts.c.phone != "",
        (contacts.c.may_be_told & (contacts.c.wants != Wants.NONE.value) & visits.c.restricted_at.is_(None))
        | calls_due.c.event.in_(HEARD_ALL_THE_SAME),
    )
    .order_by(calls_due.c.made_at, calls_due.c.id)
)
_OPEN_TO = _OPEN.where(calls_due.c.recipient.in_(bindparam("recipients", expanding=True)))
_CLOSE = update(calls_due).where(calls_due.c.closed_at.is_(None)).values(closed_at=bindparam("now"))
_CLOSE_ONE = _CLOSE.where(calls_due.c.id == bindparam("wanted"))
_CLOSE_CONTACTS = _CLOSE.where(calls_due.c.recipient == bindparam("wanted"))
_FORGET = delete(calls_due).where(calls_due.c.reference == bindparam("wanted"))
_FORGET_RECIPIENT = delete(calls_due).where(calls_due.c.recipient == bindparam("wanted"))


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


def due_to(connection: Connection, recipients: Sequence[str]) -> list[CallDue]:
    """The same to these contacts."""
    return [CallDue(*tuple(row)) for row in connection.execute(_OPEN_TO, {"recipients": recipients})]


def waiting(connection: Connection) -> list[Waiting]:
    """Whom to ring, the longest waiting first, in one statement; whether it is all still true is asked elsewhere.

    Without those who have no number, or are told nothing.
    """
    return [Waiting(*tuple(row)) for row in connection.execute(_WAITING)]


def close(connection: Connection, call_id: int, now: datetime) -> bool:
    """The call was made, or is no longer wanted. False where it was closed before."""
    return connection.execute(_CLOSE_ONE, {"wanted": call_id, "now": now}).rowcount == 1


def close_all_of(connection: Connection, recipient: str, now: datetime) -> int:
    """Close all calls to one contact, who was just spoken to, and tell how many those were."""
    return connection.execute(_CLOSE_CONTACTS, {"wanted": recipient, "now": now}).rowcount


def forget(connection: Connection, reference: str) -> int:
    """Delete every call about `reference`, made or not, and tell how many those were."""
    return connection.execute(_FORGET, {"wanted": reference}).rowcount


def forget_recipient(connection: Connection, recipient: str) -> int:
    """Erase the calls to somebody, made or not, and tell how many those were."""
    return connection.execute(_FORGET_RECIPIENT, {"wanted": recipient}).rowcount

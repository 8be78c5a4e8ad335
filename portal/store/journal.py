"""The journal: what happened to a ticket, in order, append-only. Corrections are new entries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, case, func, insert, select

from portal.rules.stages import Event
from portal.store.tables import journal, staff, tickets


@dataclass(frozen=True)
class Entry:
    """One journal entry; `by` is the staff member's name, or "" when it was not staff."""

    entry: int
    at: datetime
    by_kind: str
    by: str
    event: str
    data: Mapping[str, Any]
    audience: str
    text: str


_COLUMNS = (
    journal.c.entry,
    journal.c.at,
    journal.c.by_kind,
    staff.c.name,
    journal.c.event,
    journal.c.data,
    journal.c.audience,
    journal.c.text,
)
_OF_TICKET = (
    select(*_COLUMNS)
    .select_from(journal.outerjoin(staff, journal.c.by_staff == staff.c.id))
    .where(journal.c.ticket_id == bindparam("ticket_id"), journal.c.entry > bindparam("after"))
    .order_by(journal.c.entry)
)
# That a ticket moved or waits is no secret, nor what its customer agreed to; the words of an entry are only for whom
# they were written.
STANDING_EVENTS = (
    *("arrived", "moved", "held", "released", "ended", "reopened"),
    *("price_agreed", "agreed", "declined"),
    *("cancelled", "cancel_declared", "cancel_overruled", "cancellation_taken_back"),
)
_FOR_CUSTOMER = (
    select(
        journal.c.entry,
        journal.c.at,
        journal.c.by_kind,
        journal.c.event,
        journal.c.data,
        journal.c.audience,
        case((journal.c.audience == "customer", journal.c.text), else_=""),
    )
    .where(
        journal.c.ticket_id == bindparam("ticket_id"),
        (journal.c.audience == "customer") | journal.c.event.in_(STANDING_EVENTS),
    )
    .order_by(journal.c.entry)
)
_ONE = select(journal.c.audience).where(
    journal.c.ticket_id == bindparam("ticket_id"), journal.c.entry == bindparam("wanted")
)
_BY_DEED = (
    select(tickets.c.number)
    .join(journal, journal.c.ticket_id == tickets.c.id)
    .where(journal.c.deed_key == bindparam("deed_key"))
)


def entries(connection: Connection, ticket_id: int, after: int = 0) -> list[Entry]:
    """A ticket's entries in order; with `after`, only those that came since that entry."""
    rows = connection.execute(_OF_TICKET, {"ticket_id": ticket_id, "after": after})
    return [Entry(row[0], row[1], row[2], row[3] or "", *row[4:]) for row in rows]


def entries_for_customer(connection: Connection, ticket_id: int) -> list[Entry]:
    """What a customer may read of a ticket's journal, in order: no word meant for the bench, no name of staff."""
    rows = connection.execute(_FOR_CUSTOMER, {"ticket_id": ticket_id})
    return [Entry(entry, at, by_kind, "", *rest) for entry, at, by_kind, *rest in rows]


def audience(connection: Connection, ticket_id: int, entry: int) -> str | None:
    """Who may read one entry ("bench" or "customer"), or None where the ticket has no such entry."""
    return connection.execute(_ONE, {"ticket_id": ticket_id, "wanted": entry}).scalar()


def ticket_of_deed(connection: Connection, deed_key: str) -> str | None:
    """The number of the ticket whose journal holds this form's key already, or None."""
    return connection.execute(_BY_DEED, {"deed_key": deed_key}).scalar()


def append(
    connection: Connection,
    *,
    ticket_id: int,
    after: int,
    at: datetime,
    by_kind: str,
    by_staff: int | None,
    events: Sequence[Event],
    audience: str,
    text: str,
    deed_key: str | None,
) -> None:
    """Write the entries of one deed, numbered from `after` + 1; its text and its form's key go with the first.

    The unique (ticket, entry) makes two writers at once impossible.
    """
    if not events:
        return
    connection.execute(
        insert(journal),
        [
            {
                "ticket_id": ticket_id,
                "entry": after + place,
                "at": at,
                "by_kind": by_kind,
                "by_staff": by_staff,
                "event": event.name,
                "data": dict(event.data),
                "audience": audience,
                "text": text if place == 1 else "",
                "deed_key": deed_key if place == 1 else None,
            }
            for place, event in enumerate(events, 1)
        ],
    )


@dataclass(frozen=True)
class Note:
    """A note for the customer as it was last corrected; `entries` are its own and its corrections’, oldest first."""

    entries: tuple[int, ...]
    text: str


def notes_as_they_stand(found: Iterable[Entry]) -> list[Note]:
    """The notes for the customer among a ticket's entries, oldest first."""
    notes: dict[int, Note] = {}
    stands_at: dict[int, int] = {}  # a correction may be corrected too
    for entry in found:
        if entry.audience != "customer" or entry.event not in ("noted", "corrected"):
            continue
        of = int(entry.data.get("entry", entry.entry))
        place = stands_at.get(of, entry.entry)
        stands_at[entry.entry] = place
        earlier = notes[place].entries if place in notes else ()
        notes[place] = Note((*earlier, entry.entry), entry.text)
    return list(notes.values())


@dataclass(frozen=True)
class Said:
    """What a customer has said about a device of theirs, in their words."""

    number: str
    device: str
    words: str
    at: datetime


_SAID = (
    select(tickets.c.number, tickets.c.device, journal.c.text, journal.c.at)
    .join(tickets, journal.c.ticket_id == tickets.c.id)
    .where(journal.c.event == bindparam("event"), journal.c.at >= bindparam("since"))
    .order_by(journal.c.at)
)


def said_since(connection: Connection, event: str, since: datetime) -> list[Said]:
    """What customers have said by this event since then, the oldest first."""
    return [Said(*tuple(row)) for row in connection.execute(_SAID, {"event": event, "since": since})]


# What the shop settled with a customer; what they closed themselves they know of.
SETTLING_EVENTS = ("complaint_closed", "ownership_settled", "money_given_back", "data_done", "data_refused")
_SETTLED_AT = (
    select(func.max(journal.c.at))
    .join(tickets, journal.c.ticket_id == tickets.c.id)
    .where(
        tickets.c.visit_id == bindparam("visit_id"),
        journal.c.event.in_(SETTLING_EVENTS),
        journal.c.by_kind != "customer",
    )
)


def settled_at(connection: Connection, visit_id: int) -> datetime | None:
    """When the shop last settled something about a visit's devices, or None."""
    moment: datetime | None = connection.execute(_SETTLED_AT, {"visit_id": visit_id}).scalar()
    return moment


_UNREAD = (
    select(tickets.c.number, tickets.c.device, journal.c.text, journal.c.at)
    .join(tickets, journal.c.ticket_id == tickets.c.id)
    .where(tickets.c.unread_since.is_not(None), journal.c.event == "wrote", journal.c.at >= tickets.c.unread_since)
    .order_by(journal.c.at, journal.c.id)
)


def unread(connection: Connection) -> list[Said]:
    """What customers wrote and nobody has read or answered yet, the oldest first."""
    return [Said(*tuple(row)) for row in connection.execute(_UNREAD)]

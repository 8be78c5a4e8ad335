"""Intake records: one row a version, the newest counts; the customer answers the version that they read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, insert, select, update

from portal.rules.intake_record import Item, Mark, Record
from portal.store.bench_tables import intake_records as table
from portal.store.tables import tickets

_RECORD = (
    table.c.shop_sees,
    table.c.serial,
    table.c.marks,
    table.c.seal,
    table.c.earlier_repair,
    table.c.liquid,
    table.c.battery,
    table.c["items"],
    table.c.came_by,
    table.c.carrier,
    table.c.parcel_ref,
    table.c.backed_up,
    table.c.may_reset,
    table.c.signed_out,
    table.c.maker_warranty,
    table.c.may_open,
    table.c.unlocking,
    table.c.answers_note,
)
_VERSION = (
    table.c.version,
    table.c.made_at,
    table.c.answer,
    table.c.answered_at,
    table.c.objection,
    table.c.made_safe_at,
)
_OF_TICKET = (
    select(*_VERSION, *_RECORD).where(table.c.ticket_id == bindparam("ticket_id")).order_by(table.c.version.desc())
)
_NEWEST = _OF_TICKET.limit(1)
_ONE = update(table).where(table.c.ticket_id == bindparam("of_ticket"), table.c.version == bindparam("of_version"))
# The guard lets a customer answer once, however often and however fast the form is sent.
_ANSWER = _ONE.where(table.c.answer.is_(None)).values(
    answer=bindparam("given"), answered_at=bindparam("now"), objection=bindparam("words")
)
_MADE_SAFE = _ONE.values(made_safe_at=bindparam("now"))
_LATER = table.alias("later")
_OBJECTED = (
    select(tickets.c.number, tickets.c.device, table.c.objection, table.c.answered_at)
    .join(table, table.c.ticket_id == tickets.c.id)
    .where(
        tickets.c.ending.is_(None),
        table.c.answer == "objected",
        ~select(_LATER.c.id)
        .where(_LATER.c.ticket_id == table.c.ticket_id, _LATER.c.version > table.c.version)
        .exists(),
    )
    .order_by(table.c.answered_at)
)


@dataclass(frozen=True)
class Version:
    """One version of an intake record with the customer's answer: "agreed", "objected" or None."""

    version: int
    made_at: datetime
    answer: str | None
    answered_at: datetime | None
    objection: str
    made_safe_at: datetime | None
    record: Record


@dataclass(frozen=True)
class Objected:
    """A customer's objection to the newest record of their device, in their words."""

    number: str
    device: str
    words: str
    at: datetime


def versions(connection: Connection, ticket_id: int) -> list[Version]:
    """All versions, the newest first."""
    return [_version(tuple(row)) for row in connection.execute(_OF_TICKET, {"ticket_id": ticket_id})]


def newest(connection: Connection, ticket_id: int) -> Version | None:
    """The version that counts, or None where nothing is recorded."""
    row = connection.execute(_NEWEST, {"ticket_id": ticket_id}).first()
    return _version(tuple(row)) if row else None


def add(
    connection: Connection, ticket_id: int, version: int, record: Record, now: datetime, made_safe_at: datetime | None
) -> None:
    """Write a version."""
    columns = asdict(record) | {"battery": list(record.battery)}
    values = {"ticket_id": ticket_id, "version": version, "made_at": now, "made_safe_at": made_safe_at}
    connection.execute(insert(table), columns | values)


def answer(connection: Connection, ticket_id: int, version: int, given: str, words: str, now: datetime) -> bool:
    """Write the customer's answer, unless this version has one (then False)."""
    values = {"of_ticket": ticket_id, "of_version": version, "given": given, "words": words, "now": now}
    return connection.execute(_ANSWER, values).rowcount == 1


def make_safe(connection: Connection, ticket_id: int, version: int, now: datetime) -> None:
    """Write that the flagged battery was dealt with."""
    connection.execute(_MADE_SAFE, {"of_ticket": ticket_id, "of_version": version, "now": now})


def objected(connection: Connection) -> list[Objected]:
    """The objections to the newest records of open tickets, the longest waiting first."""
    return [Objected(*tuple(row)) for row in connection.execute(_OBJECTED)]


def _version(row: tuple[Any, ...]) -> Version:
    about: Sequence[Any] = row[: len(_VERSION)]
    written = row[len(_VERSION) :]
    values = dict(zip((column.name for column in _RECORD), written, strict=True))
    values["marks"] = tuple(Mark(**mark) for mark in values["marks"])
    values["items"] = tuple(Item(**item) for item in values["items"])
    values["battery"] = tuple(values["battery"])
    return Version(*[*about, Record(**values)])

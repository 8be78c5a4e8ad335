"""What is still kept of visits whose devices have left, and since when; what pauses its end; what was erased."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, bindparam, delete, func, insert, select

from portal.rules.retention import REGISTER, Kept, Start
from portal.store.keeping_tables import keeping, pauses, purges
from portal.store.tables import tickets

RESTRICTED = "Art. 18 GDPR"  # the reason of the pauses that a restriction makes, whoever asked for it
_LEFT_AT = select(func.max(tickets.c.ended_at)).where(tickets.c.visit_id == bindparam("visit_id"))
_STOP = delete(keeping).where(keeping.c.visit_id == bindparam("wanted"))
_DONE = _STOP.where(keeping.c.kept == bindparam("of"))
_OF_VISIT = select(keeping.c.kept, keeping.c.since).where(keeping.c.visit_id == bindparam("visit_id"))
_PAUSED = (
    select(pauses.c.id)
    .where(
        pauses.c.visit_id == keeping.c.visit_id,
        pauses.c.kept == keeping.c.kept,
        pauses.c.until > bindparam("today"),
    )
    .exists()
)
_DUE_ROWS = keeping.c.kept == bindparam("of"), keeping.c.since < bindparam("before"), ~_PAUSED
_DUE = (
    select(keeping.c.visit_id)
    .where(*_DUE_ROWS)
    .order_by(keeping.c.since)
    .limit(bindparam("most"))
    .with_for_update(skip_locked=True)
)
_COUNT = select(func.count()).select_from(keeping).where(*_DUE_ROWS)
_PAUSES = (
    select(pauses.c.kept, pauses.c.reason, pauses.c.until)
    .where(pauses.c.visit_id == bindparam("visit_id"))
    .order_by(pauses.c.until, pauses.c.kept)
)
_LOOK_AGAIN = (
    select(tickets.c.number, tickets.c.device, pauses.c.kept, pauses.c.reason, pauses.c.until)
    .join(tickets, tickets.c.visit_id == pauses.c.visit_id)
    .where(
        pauses.c.by_staff.is_not(None) | (pauses.c.reason == RESTRICTED),
        pauses.c.until >= bindparam("today"),
        pauses.c.until <= bindparam("soon"),
        tickets.c.ending.is_not(None),
    )
    .order_by(pauses.c.until, tickets.c.number, pauses.c.kept)
)
_END_PAUSE = delete(pauses).where(pauses.c.visit_id == bindparam("wanted"), pauses.c.kept == bindparam("of"))
_PURGED = (
    select(purges.c.kept, func.sum(purges.c.count), func.max(purges.c.at))
    .group_by(purges.c.kept)
    .order_by(purges.c.kept)
)


@dataclass(frozen=True)
class Pause:
    """Why a kind of data does not go yet, and the day on which somebody must look again."""

    kept: Kept
    reason: str
    until: date


@dataclass(frozen=True)
class Purged:
    """How much of a kind of data has ever been erased, and when last."""

    kept: Kept
    count: int
    last_at: datetime


def begin(connection: Connection, visit_id: int, warranty_over_at: datetime) -> None:
    """The last device of a visit has left: every period begins, or begins anew."""
    stop(connection, visit_id)
    left_at = connection.execute(_LEFT_AT, {"visit_id": visit_id}).scalar_one()
    since = {Start.WARRANTY_OVER: warranty_over_at, Start.LEFT: left_at}
    connection.execute(
        insert(keeping),
        [
            {"visit_id": visit_id, "kept": kept.value, "since": since[entry.start]}
            for kept, entry in REGISTER.items()
            if entry.start in since
        ],
    )


def stop(connection: Connection, visit_id: int) -> None:
    """A device is here again: nothing of the visit goes."""
    connection.execute(_STOP, {"wanted": visit_id})


def of_visit(connection: Connection, visit_id: int) -> dict[Kept, datetime]:
    """What is still kept of a visit, and when its period began; empty while a device is here."""
    return {Kept(kept): since for kept, since in connection.execute(_OF_VISIT, {"visit_id": visit_id})}


def due(connection: Connection, kept: Kept, before: datetime, today: date, most: int) -> Sequence[int]:
    """At most so many visits whose data of this kind began before a moment and is not paused, the oldest first.

    On PostgreSQL their rows are locked, and those that another purge has locked are passed over.
    """
    values = {"of": kept.value, "before": before, "today": today, "most": most}
    return connection.execute(_DUE, values).scalars().all()


def count_due(connection: Connection, kept: Kept, before: datetime, today: date) -> int:
    """How many visits those are."""
    return connection.execute(_COUNT, {"of": kept.value, "before": before, "today": today}).scalar_one()


def done(connection: Connection, visit_id: int, kept: Kept) -> bool:
    """This kind of data of a visit is gone. Tells whether anything is kept of it still."""
    connection.execute(_DONE, {"wanted": visit_id, "of": kept.value})
    return bool(of_visit(connection, visit_id))


def pauses_of(connection: Connection, visit_id: int) -> list[Pause]:
    """What pauses the end of a visit's data."""
    return [
        Pause(Kept(kept), reason, until) for kept, reason, until in connection.execute(_PAUSES, {"visit_id": visit_id})
    ]


def paused(connection: Connection, visit_id: int, today: date) -> dict[Kept, Pause]:
    """What pauses it on a day, by kind: a pause whose day has come pauses nothing any more."""
    return {pause.kept: pause for pause in pauses_of(connection, visit_id) if pause.until > today}


@dataclass(frozen=True)
class Lapsing:
    """A device that has left, and what the staff or a restriction kept longer of it, until a day that is near."""

    number: str
    device: str
    pause: Pause


def lapsing(connection: Connection, today: date, soon: date) -> list[Lapsing]:
    """What goes by `soon` unless somebody looks again; what pauses and ends by itself is not among it."""
    rows = connection.execute(_LOOK_AGAIN, {"today": today, "soon": soon})
    return [Lapsing(number, device, Pause(Kept(kept), reason, until)) for number, device, kept, reason, until in rows]


def pause(connection: Connection, visit_id: int, pause: Pause, staff_id: int | None, now: datetime) -> None:
    """Pause the end of a kind of data, in place of what paused it before."""
    end_pause(connection, visit_id, pause.kept)
    connection.execute(
        insert(pauses),
        {
            "visit_id": visit_id,
            "kept": pause.kept.value,
            "reason": pause.reason,
            "until": pause.until,
            "made_at": now,
            "by_staff": staff_id,
        },
    )


def end_pause(connection: Connection, visit_id: int, kept: Kept) -> bool:
    """Let a kind of data go when its time comes. False where nothing paused it."""
    return connection.execute(_END_PAUSE, {"wanted": visit_id, "of": kept.value}).rowcount > 0


def record(connection: Connection, kept: Kept, count: int, policy_revision: int, now: datetime) -> None:
    """Write down that so much was erased."""
    connection.execute(
        insert(purges), {"at": now, "kept": kept.value, "count": count, "policy_revision": policy_revision}
    )


def purged(connection: Connection) -> list[Purged]:
    """What was erased so far, by kind."""
    return [Purged(Kept(kept), int(count), last_at) for kept, count, last_at in connection.execute(_PURGED)]

"""Claiming what is due, and settling it: guarded updates with a random lease whose end stands in the row itself.

A claim that its sender never settled is picked up by the ordinary claim once its lease is over, so no rescue job exists
that could get stuck. A late settle with an old lease changes nothing.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, bindparam, select, update

from notifications.tables import outbox

LEASE = timedelta(minutes=10)  # more than all waits of one sending together
_OPEN = outbox.c.state.in_(("waiting", "claimed", "unknown"))
_COLUMNS = (
    outbox.c.id,
    outbox.c.event,
    outbox.c.cause,
    outbox.c.recipient,
    outbox.c.reference,
    outbox.c.channels,
    outbox.c.channel,
    outbox.c.expires_at,
    outbox.c.gather,
    outbox.c.facts,
    outbox.c.made_at,
    outbox.c.attempts,
    outbox.c.unknowns,
    outbox.c.handing_over_at,
    outbox.c.message_id,
)


@dataclass(frozen=True)
class Claimed:
    """A message that is ours until the lease is over. `facts` are its own and those gathered with it."""

    id: int
    event: str
    cause: str
    recipient: str
    reference: str
    channels: Sequence[str]
    channel: int
    expires_at: datetime
    gather: str | None
    facts: tuple[Mapping[str, Any], ...]
    made_at: datetime
    attempts: int  # this one counted
    unknowns: int
    handing_over_at: datetime | None  # set: an earlier sender was lost while handing over
    message_id: str | None
    lease: str


# The lock lets two claims on PostgreSQL pass each other by; on SQLite a writing transaction is alone anyway.
_DUE = (
    select(*_COLUMNS)
    .where(_OPEN, outbox.c.due_at <= bindparam("now"))
    .order_by(outbox.c.due_at, outbox.c.id)
    .limit(1)
    .with_for_update(skip_locked=True)
)
_CLAIMING = {
    "state": "claimed",
    "lease": bindparam("token"),
    "lease_until": bindparam("until"),
    "due_at": bindparam("until"),  # so that one condition finds what is due and what was left lying
}
_CLAIM = update(outbox).where(outbox.c.id == bindparam("wanted")).values(attempts=outbox.c.attempts + 1, **_CLAIMING)
_GATHER = (
    update(outbox)
    .where(
        outbox.c.gather == bindparam("key"),
        outbox.c.recipient == bindparam("whom"),
        outbox.c.state == "waiting",
        outbox.c.id != bindparam("wanted"),
    )
    .values(attempts=outbox.c.attempts + 1, **_CLAIMING)
    .returning(outbox.c.id, outbox.c.facts)
)
_SETTLE = update(outbox).where(outbox.c.lease == bindparam("held"), outbox.c.state == "claimed")


def claim(connection: Connection, now: datetime, lease: timedelta = LEASE) -> Claimed | None:
    """Claim the message that has been due longest, with whatever gathers with it; None when nothing is due.

    The try is counted here, so that a message which kills its sender is not tried for ever.
    """
    row = connection.execute(_DUE, {"now": now}).first()
    if row is None:
        return None
    token, until = secrets.token_hex(16), now + lease
    connection.execute(_CLAIM, {"wanted": row.id, "token": token, "until": until})
    gathered: list[Mapping[str, Any]] = []
    if row.gather:
        found = connection.execute(
            _GATHER,
            {"key": row.gather, "whom": row.recipient, "wanted": row.id, "token": token, "until": until},
        )
        gathered = [facts for _id, facts in sorted(found.all())]
    values = row._asdict() | {"attempts": row.attempts + 1, "facts": (row.facts, *gathered), "lease": token}
    return Claimed(**values)


def hand_over(connection: Connection, claimed: Claimed, message_id: str, now: datetime) -> bool:
    """Note, before it happens, that the message is being handed over. False when the lease was lost."""
    return _settle(connection, claimed, handing_over_at=now, message_id=message_id)


def sent(connection: Connection, claimed: Claimed, now: datetime) -> bool:
    """The other side has it."""
    return _end(connection, claimed, "sent", now, "")


def failed(connection: Connection, claimed: Claimed, now: datetime, why: str) -> bool:
    """It cannot be delivered, on any channel."""
    return _end(connection, claimed, "failed", now, why)


def withdrawn(connection: Connection, claimed: Claimed, now: datetime, why: str) -> bool:
    """It is no longer true, or nobody is there to be told."""
    return _end(connection, claimed, "withdrawn", now, why)


def expired(connection: Connection, claimed: Claimed, now: datetime) -> bool:
    """Its time has passed."""
    return _end(connection, claimed, "expired", now, "")


def unknown(connection: Connection, claimed: Claimed, again_at: datetime, why: str) -> bool:
    """The line broke while it was handed over; it is tried once more at `again_at`."""
    values = {"state": "unknown", "due_at": again_at, "unknowns": claimed.unknowns + 1, "outcome": why}
    return _settle(connection, claimed, **values, **_RELEASED)


def later(connection: Connection, claimed: Claimed, again_at: datetime, why: str, *, counts: bool) -> bool:
    """Not now. `counts` says whether this was a try that failed, or only not the time."""
    attempts = claimed.attempts if counts else claimed.attempts - 1
    values = {"state": "waiting", "due_at": again_at, "attempts": attempts, "outcome": why}
    return _settle(connection, claimed, **values, **_RELEASED)


def next_channel(connection: Connection, claimed: Claimed, now: datetime, why: str) -> bool:
    """This channel is hopeless: on to the next in the same row, with its tries counted anew."""
    values = {"state": "waiting", "due_at": now, "channel": claimed.channel + 1, "attempts": 0, "outcome": why}
    return _settle(connection, claimed, **values, message_id=None, unknowns=0, **_RELEASED)


_RELEASED: Mapping[str, None] = {"lease": None, "lease_until": None, "handing_over_at": None}


def _end(connection: Connection, claimed: Claimed, state: str, now: datetime, why: str) -> bool:
    return _settle(connection, claimed, state=state, settled_at=now, outcome=why, **_RELEASED)


def _settle(connection: Connection, claimed: Claimed, **values: object) -> bool:
    """Change what this lease holds. False: the lease was lost meanwhile, and nothing was changed."""
    return connection.execute(_SETTLE.values(**values), {"held": claimed.lease}).rowcount > 0

"""Claiming what is due, and settling it: guarded updates with a random lease whose end stands in the row itself.

A claim that its sender never settled is picked up by the ordinary claim once its lease is over, so no rescue job exists
that could get stuck. A late settle with an old lease changes nothing.

Messages with one gather key that wait together are claimed under one lease and share one message id from then on: they
go out, or fail, as one. Only the first of them can be found by a claim, so two claims never share a group between them.
"""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, bindparam, case, exists, func, or_, select, update

from notifications.tables import OPEN, outbox

LEASE = timedelta(minutes=30)  # more than all the waits of handing one letter over together
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
    """A message that is ours until the lease is over, with those gathered with it (`ids` and `facts` are of all)."""

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
    attempts: int  # on this channel, this one counted
    unknowns: int  # earlier hand-overs that were never answered: the recipient may have it
    handing_over_at: datetime | None  # the last time that a channel was handed it
    message_id: str
    ids: tuple[int, ...]
    lease: str

    @property
    def via(self) -> str:
        """The channel that is tried now; "" when none is left."""
        return self.channels[self.channel] if self.channel < len(self.channels) else ""

    @property
    def was_tried(self) -> bool:
        """Whether any channel was ever handed it."""
        return self.handing_over_at is not None

    @property
    def has_more_channels(self) -> bool:
        """Whether another channel comes after this one."""
        return self.channel + 1 < len(self.channels)


_EXPIRE = (
    update(outbox)
    .where(OPEN, outbox.c.due_at <= bindparam("now"), outbox.c.expires_at <= bindparam("now"))
    .values(
        # What may have arrived stays in doubt; what was tried in vain has failed; what was never tried has expired.
        state=case((outbox.c.unknowns > 0, "unknown"), (outbox.c.attempts > 0, "failed"), else_="expired"),
        settled_at=bindparam("now"),
        lease=None,
        lease_until=None,
    )
)
_found = outbox.alias("found")
_elder = outbox.alias("elder")
_LED_BY_ANOTHER = exists().where(
    _found.c.gather.is_not(None),
    _elder.c.settled_at.is_(None),
    _elder.c.gather == _found.c.gather,
    _elder.c.recipient == _found.c.recipient,
    _elder.c.message_id.is_not_distinct_from(_found.c.message_id),
    _elder.c.id < _found.c.id,
)
# The lock lets two claims on PostgreSQL pass each other by; on SQLite a writing transaction is alone anyway.
_DUE = (
    select(_found.c.id)
    .where(
        _found.c.settled_at.is_(None),
        _found.c.due_at <= bindparam("now"),
        or_(_found.c.lease_until.is_(None), _found.c.lease_until <= bindparam("now")),
        _found.c.expires_at > bindparam("now"),
        ~_LED_BY_ANOTHER,
    )
    .order_by(_found.c.due_at, _found.c.id)
    .limit(1)
    .with_for_update(skip_locked=True, of=_found)
    .scalar_subquery()
)
_CLAIMING = {
    "state": "claimed",
    "lease": bindparam("token"),
    "lease_until": bindparam("until"),
    "due_at": bindparam("until"),  # so that one index finds what is due and what was left lying
    "attempts": outbox.c.attempts + 1,
}
_CLAIM = (
    update(outbox)
    .where(outbox.c.id == _DUE)
    .values(message_id=func.coalesce(outbox.c.message_id, bindparam("new_id")), **_CLAIMING)
    .returning(*_COLUMNS)
)
# Those that wait (fresh: no message id yet), or those that were with this one before (its message id).
_GATHER = (
    update(outbox)
    .where(
        OPEN,
        outbox.c.gather == bindparam("key"),
        outbox.c.recipient == bindparam("whom"),
        outbox.c.id != bindparam("first"),
        outbox.c.message_id.is_not_distinct_from(bindparam("known_as")),
    )
    .values(message_id=bindparam("new_id"), **_CLAIMING)
    .returning(outbox.c.id, outbox.c.facts)
)
_MINE = update(outbox).where(
    outbox.c.id.in_(bindparam("mine", expanding=True)), outbox.c.lease == bindparam("held"), OPEN
)
_BEGIN = _MINE.values(
    handing_over_at=bindparam("now"),
    due_at=bindparam("again_at"),
    unknowns=bindparam("doubts"),
    wording=bindparam("said_in"),
)
# One statement for every way to let go, built once.
_SETTLE = _MINE.values(
    state=bindparam("becomes"),
    due_at=bindparam("again_at"),
    settled_at=bindparam("ended_at"),
    outcome=bindparam("why"),
    channel=bindparam("place"),
    attempts=bindparam("tries"),
    unknowns=bindparam("doubts"),
    message_id=bindparam("known_as"),
    lease=None,
    lease_until=None,
)


def expire(connection: Connection, now: datetime) -> int:
    """End what is past its time, and tell how many messages that were."""
    return connection.execute(_EXPIRE, {"now": now}).rowcount


def claim(connection: Connection, now: datetime, lease: timedelta = LEASE) -> Claimed | None:
    """Claim the message that has been due longest, with those that gather with it; None when nothing is due.

    The try is counted here, so that a message which kills its sender is not tried for ever.
    """
    leasing = {"token": secrets.token_hex(16), "until": now + lease, "new_id": secrets.token_hex(16)}
    row = connection.execute(_CLAIM, {"now": now, **leasing}).first()
    if row is None:
        return None
    others: list[tuple[int, Mapping[str, Any]]] = []
    if row.gather:
        fresh = row.message_id == leasing["new_id"]
        gathering = {"key": row.gather, "whom": row.recipient, "first": row.id}
        gathering |= {"known_as": None if fresh else row.message_id, "new_id": row.message_id}
        found = connection.execute(_GATHER, leasing | gathering)
        others = sorted(((other, facts) for other, facts in found), key=lambda pair: pair[0])
    return Claimed(
        **row._asdict()
        | {
            "facts": (row.facts, *(facts for _other, facts in others)),
            "ids": (row.id, *(other for other, _facts in others)),
            "lease": leasing["token"],
        }
    )


def begin(
    connection: Connection, claimed: Claimed, now: datetime, again_at: datetime, wording: int | None = None
) -> bool:
    """Note, before it happens, that the message is being handed over; a lost sender's waits till `again_at`.

    `wording` is which words it goes out in, as the letter says.
    False when the lease was lost, or a message of the group was withdrawn meanwhile: then it must not go out.
    """
    values = {"now": now, "again_at": again_at, "doubts": claimed.unknowns + 1, "said_in": wording}
    return connection.execute(_BEGIN, values | _mine(claimed)).rowcount == len(claimed.ids)


def sent(connection: Connection, claimed: Claimed, now: datetime) -> bool:
    """The other side has it."""
    return _settle(connection, claimed, "sent", now, ended_at=now)


def failed(connection: Connection, claimed: Claimed, now: datetime, why: str) -> bool:
    """It cannot be delivered, on any channel."""
    return _settle(connection, claimed, "failed", now, why, ended_at=now)


def withdrawn(connection: Connection, claimed: Claimed, now: datetime, why: str) -> bool:
    """It is no longer true, or nobody is there to be told. What may have arrived stays in doubt."""
    return _settle(connection, claimed, "unknown" if claimed.unknowns else "withdrawn", now, why, ended_at=now)


def left_in_doubt(connection: Connection, claimed: Claimed, now: datetime, why: str) -> bool:
    """It may have arrived, and is not tried again."""
    return _settle(connection, claimed, "unknown", now, why, ended_at=now)


def unknown(connection: Connection, claimed: Claimed, again_at: datetime, why: str) -> bool:
    """The line broke while it was handed over; it is tried once more at `again_at`."""
    return _settle(connection, claimed, "unknown", again_at, why, doubts=claimed.unknowns + 1)


def later(connection: Connection, claimed: Claimed, again_at: datetime, why: str, *, counts: bool) -> bool:
    """Not now. `counts` says whether this was a try that failed, or only not the time.

    What is surely not with the recipient loses its message id, so that it may be gathered anew.
    """
    tries = claimed.attempts if counts else claimed.attempts - 1
    if claimed.unknowns:
        return _settle(connection, claimed, "unknown", again_at, why, tries=tries)
    return _settle(connection, claimed, "waiting", again_at, why, tries=tries, known_as=None)


def next_channel(connection: Connection, claimed: Claimed, now: datetime, why: str) -> bool:
    """This channel is hopeless: on to the next in the same row, with its tries counted anew."""
    place = claimed.channel + 1
    return _settle(connection, claimed, "waiting", now, why, place=place, tries=0, doubts=0, known_as=None)


def _settle(
    connection: Connection, claimed: Claimed, becomes: str, again_at: datetime, why: str = "", **other: object
) -> bool:
    """Let go of what this lease holds. False: the lease was lost meanwhile, and nothing was changed."""
    values = {
        "becomes": becomes,
        "again_at": again_at,
        "ended_at": None,
        "why": why,
        "place": claimed.channel,
        "tries": claimed.attempts,
        "doubts": claimed.unknowns,
        "known_as": claimed.message_id,
    }
    return connection.execute(_SETTLE, values | other | _mine(claimed)).rowcount > 0


def _mine(claimed: Claimed) -> dict[str, object]:
    return {"mine": claimed.ids, "held": claimed.lease}

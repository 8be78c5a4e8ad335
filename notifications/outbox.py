"""The outbox: messages that must go out, written in the same transaction as what caused them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, bindparam, delete, func, insert, select
from sqlalchemy.exc import IntegrityError

from notifications.tables import outbox

_FORGET = delete(outbox).where(outbox.c.reference == bindparam("wanted"))
LIFE = timedelta(days=4)  # RFC 5321 4.5.4.1: give up after at least four to five days


@dataclass(frozen=True)
class Message:
    """What must be told to whom, and why; the words are found when it is sent.

    `cause` names what happened and is unique with `recipient` for ever. `reference` and `recipient` are opaque to this
    package. `facts` are not secret and hold no contact data.
    """

    event: str
    cause: str
    recipient: str
    reference: str
    channels: Sequence[str] = ("mail",)
    not_before: datetime | None = None
    expires_at: datetime | None = None
    gather: str | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)


def put(connection: Connection, message: Message, now: datetime) -> bool:
    """Write the message inside the caller's transaction. False when its cause was told this recipient before."""
    not_before = message.not_before or now
    try:
        with connection.begin_nested():
            connection.execute(
                insert(outbox),
                {
                    "event": message.event,
                    "cause": message.cause,
                    "recipient": message.recipient,
                    "reference": message.reference,
                    "channels": list(message.channels),
                    "not_before": not_before,
                    "expires_at": message.expires_at or not_before + LIFE,
                    "gather": message.gather,
                    "facts": dict(message.facts),
                    "made_at": now,
                    "due_at": not_before,
                },
            )
    except IntegrityError:
        return False
    return True


@dataclass(frozen=True)
class Trace:
    """What became of one message; without its words and its address, which are kept nowhere."""

    event: str
    recipient: str
    state: str
    channel: str
    made_at: datetime
    settled_at: datetime | None
    outcome: str


_ABOUT = (
    select(
        outbox.c.event,
        outbox.c.recipient,
        outbox.c.state,
        outbox.c.channels,
        outbox.c.channel,
        outbox.c.made_at,
        outbox.c.settled_at,
        outbox.c.outcome,
    )
    .where(outbox.c.reference.in_(bindparam("references", expanding=True)))
    .order_by(outbox.c.id.desc())
)


_STUCK = select(func.count()).where(outbox.c.state.in_(("waiting", "claimed")), outbox.c.due_at < bindparam("before"))
_COUNT = select(func.count()).where(outbox.c.state == bindparam("wanted"))


def stuck(connection: Connection, before: datetime) -> int:
    """How many messages should have been tried before this moment and were not."""
    return connection.execute(_STUCK, {"before": before}).scalar_one()


def count(connection: Connection, state: str) -> int:
    """How many messages are in this state."""
    return connection.execute(_COUNT, {"wanted": state}).scalar_one()


def about(connection: Connection, references: Sequence[str]) -> list[Trace]:
    """What was and is to be told about these references, the newest first."""
    rows = connection.execute(_ABOUT, {"references": list(references)})
    return [
        Trace(event, recipient, state, (channels[place : place + 1] or [""])[0], made_at, settled_at, outcome or "")
        for event, recipient, state, channels, place, made_at, settled_at, outcome in rows
    ]


def forget(connection: Connection, reference: str) -> int:
    """Delete every message about `reference`, sent or not, and tell how many those were."""
    return connection.execute(_FORGET, {"wanted": reference}).rowcount

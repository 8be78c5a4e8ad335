"""The outbox: messages that must go out, written in the same transaction as what caused them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import Connection, bindparam, delete, insert
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


def forget(connection: Connection, reference: str) -> int:
    """Delete every message about `reference`, sent or not, and tell how many those were."""
    return connection.execute(_FORGET, {"wanted": reference}).rowcount

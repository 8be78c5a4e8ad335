"""The outbox: messages that must go out, written in the same transaction as what caused them.

Here is what callers need: to put, to withdraw, to show and to forget. Claiming and settling is in `claims`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, Connection, FromClause, bindparam, case, delete, func, insert, or_, select, update
from sqlalchemy.exc import IntegrityError

from notifications.tables import OPEN, outbox

_FORGET = delete(outbox).where(outbox.c.reference == bindparam("wanted"))
_FORGET_RECIPIENT = delete(outbox).where(outbox.c.recipient == bindparam("wanted"))
_ALL = 2**31 - 1  # no id is as large
LIFE = timedelta(days=4)  # RFC 5321 4.5.4.1: give up after at least four to five days


@dataclass(frozen=True)
class Message:
    """What must be told to whom, and why; the words are found when it is sent.

    `cause` names what happened and is unique with `recipient` for ever. `reference` and `recipient` are opaque to this
    package. `channels` are tried in order. Messages of one `gather` key share event and channels; those of one
    recipient that wait together go out as one, when the first is due. `facts` are not secret, without contact data.
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
    """Write the message inside the caller's transaction. False when its cause was told this recipient before.

    Raises ValueError for a message without a channel.
    """
    if not message.channels:
        raise ValueError(f"The message {message.event!r} has no channel; at least one is needed.")
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


_old = outbox.alias("old")
# What is being handed over can no longer be stopped; what may have arrived stays in doubt, and is not sent again.
# Locked in the order of ids, as a claim locks, so that the two never wait for each other.
_WITHDRAW = (
    update(outbox)
    .where(
        outbox.c.id.in_(
            select(_old.c.id)
            .where(
                _old.c.settled_at.is_(None),
                or_(_old.c.state != "claimed", _old.c.unknowns == 0),
                or_(_old.c.reference == bindparam("of_reference"), _old.c.cause == bindparam("of_cause")),
            )
            .order_by(_old.c.id)
            .with_for_update()
        ),
        OPEN,
    )
    .values(
        state=case((outbox.c.unknowns > 0, "unknown"), else_="withdrawn"),
        settled_at=bindparam("now"),
        outcome=bindparam("why"),
        lease=None,
        lease_until=None,
    )
)


_ALL_OPEN = (
    update(outbox)
    .where(OPEN)
    .values(state="withdrawn", settled_at=bindparam("now"), outcome=bindparam("why"), lease=None, lease_until=None)
)
_COUNT_OPEN = select(func.count()).select_from(outbox).where(OPEN)


def withdraw_all(connection: Connection, now: datetime, why: str) -> int:
    """Take back everything that has not gone out, and tell how much that was. Only while nothing is being sent."""
    return connection.execute(_ALL_OPEN, {"now": now, "why": why}).rowcount


def count_open(connection: Connection) -> int:
    """How many messages are still to go out."""
    return connection.execute(_COUNT_OPEN).scalar_one()


_HANDED_ON = select(outbox.c.recipient).where(
    outbox.c.cause == bindparam("of_cause"), outbox.c.state.in_(("claimed", "sent", "unknown"))
)


def handed_on(connection: Connection, cause: str) -> Sequence[str]:
    """Who has been told of this cause, or may have been, or is being told at this moment."""
    return connection.execute(_HANDED_ON, {"of_cause": cause}).scalars().all()


_SENT_AT = (
    select(outbox.c.settled_at)
    .where(outbox.c.cause == bindparam("of_cause"), outbox.c.state == "sent")
    .order_by(outbox.c.settled_at)
    .limit(1)
)


def sent_at(connection: Connection, cause: str) -> datetime | None:
    """When the first message of this cause was handed over, or None while none was."""
    at: datetime | None = connection.execute(_SENT_AT, {"of_cause": cause}).scalar_one_or_none()
    return at


def withdraw(
    connection: Connection, now: datetime, why: str, *, reference: str | None = None, cause: str | None = None
) -> int:
    """Take back what has not gone out about `reference`, or of `cause`, inside the transaction that ends the cause.

    Tells how many messages were taken back. One that is being handed over at this moment goes its way.
    """
    values = {"of_reference": reference, "of_cause": cause, "now": now, "why": why}
    return connection.execute(_WITHDRAW, values).rowcount


def _full(table: FromClause) -> tuple[ColumnElement[bool], ...]:
    kept = table.c.reference.in_(bindparam("but", expanding=True))
    return table.c.settled_at < bindparam("before"), table.c.emptied_at.is_(None), ~kept


_COUNT_FULL = select(func.count()).select_from(outbox).where(*_full(outbox))
_EMPTY = (
    update(outbox)
    .where(outbox.c.id.in_(select(_old.c.id).where(*_full(_old)).order_by(_old.c.settled_at).limit(bindparam("most"))))
    .values(emptied_at=bindparam("now"), facts={}, gather=None, outcome=None, message_id=None)
)


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
    id: int
    reference: str
    decided_at: datetime | None  # when somebody decided that no more is done about its failing
    emptied: bool
    message_id: str  # "" while it was never handed over, and once it was emptied
    wording: int | None  # which words it was handed over in; None for the program's own

    @property
    def undelivered(self) -> bool:
        """Whether it did not arrive for certain, nothing more is tried, and somebody has yet to decide what to do."""
        given_up = self.state in TROUBLE and self.settled_at is not None
        return given_up and self.decided_at is None and not self.emptied


TROUBLE = ("failed", "unknown")
TRACES = select(
    outbox.c.id,
    outbox.c.reference,
    outbox.c.event,
    outbox.c.recipient,
    outbox.c.state,
    outbox.c.channels,
    outbox.c.channel,
    outbox.c.made_at,
    outbox.c.settled_at,
    outbox.c.outcome,
    outbox.c.decided_at,
    outbox.c.emptied_at,
    outbox.c.message_id,
    outbox.c.wording,
).order_by(outbox.c.id.desc())
_ABOUT = TRACES.where(outbox.c.reference.in_(bindparam("references", expanding=True)))
_ONE = TRACES.where(outbox.c.id == bindparam("wanted"))
_NEWEST = TRACES.where(outbox.c.id < bindparam("before")).limit(bindparam("most"))
_TROUBLED = _NEWEST.where(outbox.c.state.in_(TROUBLE))


_STUCK = select(func.count()).where(outbox.c.state.in_(("waiting", "claimed")), outbox.c.due_at < bindparam("before"))
_IN_DOUBT = select(func.count()).where(outbox.c.state == "unknown", outbox.c.settled_at.is_not(None))
_COUNT = select(func.count()).where(outbox.c.state == bindparam("wanted"))


def stuck(connection: Connection, before: datetime) -> int:
    """How many messages should have been tried before this moment and were not."""
    return connection.execute(_STUCK, {"before": before}).scalar_one()


def count(connection: Connection, state: str) -> int:
    """How many messages are in this state."""
    return connection.execute(_COUNT, {"wanted": state}).scalar_one()


def in_doubt(connection: Connection) -> int:
    """How many messages may have arrived or not, and are not tried again: staff decide."""
    return connection.execute(_IN_DOUBT).scalar_one()


def about(connection: Connection, references: Sequence[str]) -> list[Trace]:
    """What was and is to be told about these references, the newest first."""
    return traces(connection.execute(_ABOUT, {"references": list(references)}))


def one(connection: Connection, number: int) -> Trace | None:
    """The message with this id, or None."""
    found = traces(connection.execute(_ONE, {"wanted": number}))
    return found[0] if found else None


def newest(connection: Connection, most: int, *, before: int | None = None, troubled: bool = False) -> list[Trace]:
    """At most so many messages, the newest first; those with an id below `before`; only undelivered ones if wished."""
    values = {"before": _ALL if before is None else before, "most": most}
    return traces(connection.execute(_TROUBLED if troubled else _NEWEST, values))


def traces(rows: Iterable[Any]) -> list[Trace]:
    """The traces that rows of `TRACES` tell."""
    return [
        Trace(
            event,
            recipient,
            state,
            (channels[place : place + 1] or [""])[0],
            made_at,
            settled_at,
            outcome or "",
            number,
            reference,
            decided_at,
            emptied_at is not None,
            message_id or "",
            wording,
        )
        for (
            number,
            reference,
            event,
            recipient,
            state,
            channels,
            place,
            made_at,
            settled_at,
            outcome,
            decided_at,
            emptied_at,
            message_id,
            wording,
        ) in rows
    ]


def empty(connection: Connection, before: datetime, most: int, now: datetime, but: Sequence[str] = ()) -> int:
    """Leave of messages settled before a moment only that they were, and tell of how many (at most `most`).

    Their causes stay: they are opaque, and keep a repeated deed from making a second message. Those about one of the
    references in `but` stay whole.
    """
    values = {"before": before, "most": most, "now": now, "but": list(but)}
    return connection.execute(_EMPTY, values).rowcount


def count_full(connection: Connection, before: datetime, but: Sequence[str] = ()) -> int:
    """How many messages settled before a moment, but those about references in `but`, are not emptied yet."""
    return connection.execute(_COUNT_FULL, {"before": before, "but": list(but)}).scalar_one()


def forget(connection: Connection, reference: str) -> int:
    """Delete every message about `reference`, sent or not, and tell how many those were."""
    return connection.execute(_FORGET, {"wanted": reference}).rowcount


def forget_recipient(connection: Connection, recipient: str) -> int:
    """Delete every message to somebody, sent or not, and tell how many those were."""
    return connection.execute(_FORGET_RECIPIENT, {"wanted": recipient}).rowcount

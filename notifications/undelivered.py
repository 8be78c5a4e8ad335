"""What did not arrive for certain and is not tried again: shown until somebody decides what to do about it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, update

from notifications.outbox import LIFE, TRACES, TROUBLE, Trace, traces
from notifications.tables import outbox

UNDECIDED = (
    outbox.c.state.in_(TROUBLE),
    outbox.c.settled_at.is_not(None),
    outbox.c.decided_at.is_(None),
    outbox.c.emptied_at.is_(None),
)
_ALL = TRACES.where(*UNDECIDED)
_ONE = TRACES.where(outbox.c.id == bindparam("wanted"), *UNDECIDED)
_CHANGE = update(outbox).where(outbox.c.id == bindparam("wanted"), *UNDECIDED)
_LET_BE = _CHANGE.values(decided_at=bindparam("now"))
# From the first channel on, as if it were new. Its cause stays, so that the deed which made it makes no second one.
_AGAIN = _CHANGE.values(
    state="waiting",
    settled_at=None,
    outcome=None,
    channel=0,
    attempts=0,
    unknowns=0,
    handing_over_at=None,
    message_id=None,
    due_at=bindparam("now"),
    expires_at=bindparam("ends"),
)


def undelivered(connection: Connection) -> list[Trace]:
    """Every message that somebody has to decide about, the newest first."""
    return traces(connection.execute(_ALL))


def one(connection: Connection, number: int) -> Trace | None:
    """The message with this id, where it is to be decided about, or None."""
    found = traces(connection.execute(_ONE, {"wanted": number}))
    return found[0] if found else None


def let_be(connection: Connection, number: int, now: datetime) -> bool:
    """Nothing more is done about a message. False where there was nothing to decide."""
    return connection.execute(_LET_BE, {"wanted": number, "now": now}).rowcount == 1


def send_again(connection: Connection, number: int, now: datetime) -> bool:
    """Try a message anew, on every channel. False where there was nothing to decide.

    One that was in doubt may so arrive twice: whoever asks for it knows.
    """
    return connection.execute(_AGAIN, {"wanted": number, "now": now, "ends": now + LIFE}).rowcount == 1

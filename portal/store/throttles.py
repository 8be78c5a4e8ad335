"""Counts of tries in the database, so that limits hold across processes and restarts; ruled by `rules.throttle`."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import Connection, bindparam, delete, insert, select, update
from sqlalchemy.exc import IntegrityError

from portal.rules.throttle import Tally, Verdict, forgotten_at, weigh
from portal.store.tables import throttles

# The lock makes two tries at once count as two on PostgreSQL; on SQLite the writing transaction is alone anyway.
_ONE = select(throttles.c.tries, throttles.c.tried_at).where(throttles.c.key == bindparam("wanted")).with_for_update()
_CHANGE = (
    update(throttles)
    .where(throttles.c.key == bindparam("wanted"))
    .values(tries=bindparam("new_tries"), tried_at=bindparam("now"), until=bindparam("new_until"))
)
_CLEAR = delete(throttles).where(throttles.c.key == bindparam("wanted"))
_FORGET = delete(throttles).where(throttles.c.until <= bindparam("now"))


def hit(connection: Connection, key: str, now: datetime, limit: int, window: timedelta) -> Verdict:
    """Count one try under `key` (from `rules.throttle.key`) and tell whether it may go on.

    Up to `limit` tries go freely; then each is heard only after a wait of `window`, doubling with every one; all is
    forgotten after a quiet time. Commit before doing what was tried, so that a failure stays counted.
    """
    tally = _read(connection, key)
    kept, verdict = weigh(tally, now, limit, window)
    if kept is None:
        return verdict
    until = forgotten_at(kept, limit, window)
    if tally is None:
        values = {"key": key, "tries": kept.tries, "tried_at": kept.tried_at, "until": until}
        try:
            with connection.begin_nested():
                connection.execute(insert(throttles), values)
        except IntegrityError:  # PostgreSQL: another's first try was faster, so this is the second
            return hit(connection, key, now, limit, window)
    else:
        connection.execute(_CHANGE, {"wanted": key, "new_tries": kept.tries, "now": now, "new_until": until})
    return verdict


def clear(connection: Connection, key: str) -> None:
    """Forget the tries under `key`, for example after a login that went well."""
    connection.execute(_CLEAR, {"wanted": key})


def forget(connection: Connection, now: datetime) -> int:
    """Delete the counts that no longer matter, and tell how many those were."""
    return connection.execute(_FORGET, {"now": now}).rowcount


def _read(connection: Connection, key: str) -> Tally | None:
    row = connection.execute(_ONE, {"wanted": key}).first()
    return Tally(*row) if row else None

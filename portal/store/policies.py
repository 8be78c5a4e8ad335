"""The policy's revisions: TOML as written, numbered, with who and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, func, insert, select, text

from portal.store.tables import policies

_LOCK = text("LOCK TABLE policies, tickets IN SHARE ROW EXCLUSIVE MODE")
_NEWEST = select(func.max(policies.c.revision))
_ONE = select(policies.c.document).where(policies.c.revision == bindparam("wanted"))
_ALL = select(policies.c.revision, policies.c.made_at, policies.c.made_by).order_by(policies.c.revision.desc())


@dataclass(frozen=True)
class Revision:
    """One revision of the policy; `made_by` is a staff id, None for the command."""

    revision: int
    made_at: datetime
    made_by: int | None


def lock(connection: Connection) -> None:
    """Keep others from changing the policy or any ticket until this transaction ends, so that a check stays true.

    On SQLite a writing transaction is alone already. On PostgreSQL a deed that read the old policy before the lock
    looks again after its own change (`actions.desk.must_still_hold`).
    """
    if connection.dialect.name == "postgresql":
        connection.execute(_LOCK)


def newest(connection: Connection) -> int:
    """The number of the newest revision; 0 when there is none."""
    return connection.execute(_NEWEST).scalar() or 0


def document(connection: Connection, revision: int) -> str | None:
    """The TOML of one revision, or None."""
    return connection.execute(_ONE, {"wanted": revision}).scalar()


def revisions(connection: Connection) -> list[Revision]:
    """All revisions, the newest first."""
    return [Revision(*row) for row in connection.execute(_ALL)]


def add(connection: Connection, written: str, now: datetime, by_staff: int | None) -> int:
    """Write the next revision and tell its number."""
    revision = newest(connection) + 1
    values = {"revision": revision, "document": written, "made_at": now, "made_by": by_staff}
    connection.execute(insert(policies), values)
    return revision

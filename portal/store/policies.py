"""The policy's revisions: TOML as written, numbered, with who and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, func, insert, select

from portal.store.tables import policies

_NEWEST = select(func.max(policies.c.revision))
_ONE = select(policies.c.document).where(policies.c.revision == bindparam("wanted"))
_ALL = select(policies.c.revision, policies.c.made_at, policies.c.made_by).order_by(policies.c.revision.desc())


@dataclass(frozen=True)
class Revision:
    """One revision of the policy; `made_by` is a staff id, None for the command."""

    revision: int
    made_at: datetime
    made_by: int | None


def newest(connection: Connection) -> int:
    """The number of the newest revision; 0 when there is none."""
    return connection.execute(_NEWEST).scalar() or 0


def document(connection: Connection, revision: int) -> str | None:
    """The TOML of one revision, or None."""
    return connection.execute(_ONE, {"wanted": revision}).scalar()


def revisions(connection: Connection) -> list[Revision]:
    """All revisions, the newest first."""
    return [Revision(*row) for row in connection.execute(_ALL)]


def add(connection: Connection, text: str, now: datetime, by_staff: int | None) -> int:
    """Write the next revision and tell its number."""
    revision = newest(connection) + 1
    connection.execute(insert(policies), {"revision": revision, "document": text, "made_at": now, "made_by": by_staff})
    return revision

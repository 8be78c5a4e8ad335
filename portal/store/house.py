"""What the installation remembers of itself: whether it is held, when it was archived, when an archive was tried."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, bindparam, delete, insert, select

from portal.store.house_tables import house

HELD_SINCE = "held since"  # restored, and not released yet: nothing is sent
ARCHIVED_AT = "archived at"
TRIED_AT = "archive tried at"  # the last archive that was read back in a test

_ONE = select(house.c.value).where(house.c.name == bindparam("wanted"))
_FORGET = delete(house).where(house.c.name == bindparam("wanted"))


def when(connection: Connection, name: str) -> datetime | None:
    """The moment remembered under a name, or None."""
    value = connection.execute(_ONE, {"wanted": name}).scalar_one_or_none()
    return datetime.fromisoformat(value) if value else None


def remember(connection: Connection, name: str, at: datetime) -> None:
    """Remember a moment."""
    forget(connection, name)
    connection.execute(insert(house), {"name": name, "value": at.isoformat()})


def forget(connection: Connection, name: str) -> None:
    """Remember it no more."""
    connection.execute(_FORGET, {"wanted": name})

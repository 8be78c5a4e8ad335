"""Time: always aware UTC inside, from one clock that tests can set."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Protocol

from sqlalchemy import String
from sqlalchemy.dialects.postgresql import TIMESTAMP
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator, TypeEngine


class Clock(Protocol):
    """Whoever knows the time. Only edges (view, job, command) ask; everything below is handed `now`."""

    def now(self) -> datetime:
        """The present moment, aware, in UTC."""


class SystemClock:
    """The machine's own clock."""

    def now(self) -> datetime:
        return datetime.now(UTC)


class FixedClock:
    """A clock that stands still until it is set; for tests, the demo's past, and `sweep --at`."""

    def __init__(self, at: datetime) -> None:
        self.at = as_utc(at)

    def now(self) -> datetime:
        return self.at


def as_utc(moment: datetime) -> datetime:
    """The moment in UTC. Raises ValueError for one without a zone: a guess would be wrong twice a year."""
    if moment.tzinfo is None:
        raise ValueError(f"{moment.isoformat()} has no time zone; write for example {moment.isoformat()}+00:00")
    return moment.astimezone(UTC)


class Instant(TypeDecorator[datetime]):
    """A column of moments: TIMESTAMPTZ on PostgreSQL, sortable ISO text on SQLite. Refuses naive datetimes."""

    impl = String(32)
    cache_ok = True

    def load_dialect_impl(self, dialect: Dialect) -> TypeEngine[Any]:
        if dialect.name == "postgresql":
            return dialect.type_descriptor(TIMESTAMP(timezone=True))
        return dialect.type_descriptor(String(32))

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> Any:
        if value is None:
            return None
        moment = as_utc(value)
        return moment if dialect.name == "postgresql" else moment.isoformat(timespec="microseconds")

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        moment = value if isinstance(value, datetime) else datetime.fromisoformat(value)
        return moment if moment.tzinfo is UTC else moment.astimezone(UTC)

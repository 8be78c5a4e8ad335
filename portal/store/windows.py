"""Ready windows as they are kept, and what was learned of the past to make them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, and_, bindparam, delete, func, insert, or_, select, tuple_, update

from portal.rules.forecast import Past, as_data, from_data, lookups
from portal.rules.sentences import Sentence
from portal.rules.windows import Between, Why, miss_words, why_words
from portal.store.forecast_tables import curves, learned, windows
from portal.store.tables import journal, tickets


@dataclass(frozen=True)
class Kept:
    """A window as it is kept. The days are None where the past says nothing."""

    ticket_id: int
    made_at: datetime
    made_for: int
    why: Why
    found: int
    needed: int
    first: date | None
    last: date | None
    half_first: date | None
    half_last: date | None
    median: date | None
    told_last: date | None
    moved_since: datetime | None

    @property
    def window(self) -> Between | None:
        """The days of the window of 80 %, to be said."""
        return Between(self.first, self.last) if self.first and self.last else None

    @property
    def half(self) -> Between | None:
        """The days of the window of 50 %, to be said."""
        return Between(self.half_first, self.half_last) if self.half_first and self.half_last else None

    @property
    def why_words(self) -> Sentence:
        """What the bench reads of why customers are shown it or not."""
        return why_words(self.why, self.found, self.needed)

    def miss_words(self, needed_by: date | None) -> Sentence | None:
        """What the bench reads of a day by which the device is needed."""
        return miss_words(needed_by, self.median, self.last)

    @property
    def read(self) -> tuple[date | None, date | None]:
        """The days that its customer reads."""
        return (self.first, self.last) if self.why is Why.SHOWN else (None, None)


@dataclass(frozen=True)
class Waiting:
    """A device whose window is due: what it is reckoned from, and what was kept."""

    ticket_id: int
    visit_id: int
    revision: int
    kind: str
    stage: str
    hold: str
    since: datetime  # when it came into this state
    promised_on: date | None
    kept: Kept | None


@dataclass(frozen=True)
class Learned:
    """What was learned of the past, without its curves."""

    at: datetime
    policy_revision: int
    finished: int
    counts: Mapping[str, int]
    came_out: Sequence[float]
    cases: int
    coverage: float
    held: bool


@dataclass(frozen=True)
class Line:
    """A device with its window, for a list."""

    number: str
    device: str
    needed_by: date | None
    promised_on: date | None
    kept: Kept


_KEPT = tuple(windows.c[name] for name in Kept.__dataclass_fields__)
_LEARNED = tuple(learned.c[name] for name in Learned.__dataclass_fields__)
_ONE = select(*_KEPT).where(windows.c.ticket_id == bindparam("wanted"))
_FORGET = delete(windows).where(windows.c.ticket_id == bindparam("wanted"))
_TOLD = (
    update(windows)
    .where(windows.c.ticket_id == bindparam("wanted"))
    .values(told_last=bindparam("last_told"), moved_since=None)
)
# Since when it stands as it does: the journal knows of a hold that was lifted, too.
_SINCE = (
    select(journal.c.at)
    .where(journal.c.ticket_id == tickets.c.id, journal.c.event.in_(("arrived", "moved", "held", "released")))
    .order_by(journal.c.entry.desc())
    .limit(1)
    .scalar_subquery()
)
_WAITING = select(
    tickets.c.id,
    tickets.c.visit_id,
    tickets.c.revision,
    tickets.c.kind,
    tickets.c.stage,
    func.coalesce(tickets.c.hold, ""),
    func.coalesce(_SINCE, tickets.c.stage_since).label("since"),
    tickets.c.promised_on,
    *_KEPT,
).outerjoin(windows, windows.c.ticket_id == tickets.c.id)
_UNDER_WAY = and_(tickets.c.ending.is_(None), tickets.c.stage.is_not(None), tickets.c.stage != bindparam("last_stage"))
_DUE = (
    _WAITING.where(
        _UNDER_WAY,
        or_(
            windows.c.ticket_id.is_(None),
            windows.c.made_for != tickets.c.revision,
            windows.c.made_at < bindparam("since"),
        ),
    )
    .order_by(tickets.c.stage, tickets.c.stage_since)  # as the index of open tickets has them
    .limit(bindparam("most"))
)
_THIS = _WAITING.where(tickets.c.id == bindparam("wanted"), _UNDER_WAY)
_OVER = (
    select(windows.c.ticket_id)
    .join(tickets, tickets.c.id == windows.c.ticket_id)
    .where(or_(tickets.c.ending.is_not(None), tickets.c.stage == bindparam("last_stage")))
)
_FORGET_OVER = delete(windows).where(windows.c.ticket_id.in_(_OVER))
_LINES = select(tickets.c.number, tickets.c.device, tickets.c.needed_by, tickets.c.promised_on, *_KEPT).join(
    windows, windows.c.ticket_id == tickets.c.id
)
_MOVED = _LINES.where(windows.c.moved_since.is_not(None)).order_by(windows.c.moved_since, tickets.c.id)
_TOO_LATE = _LINES.where(tickets.c.needed_by < windows.c.median, tickets.c.ending.is_(None)).order_by(
    tickets.c.needed_by, tickets.c.id
)
_OF_VISIT = _LINES.where(tickets.c.visit_id == bindparam("wanted")).order_by(tickets.c.id)
_ALL_CURVES = select(curves.c.state, curves.c.kind, curves.c.curve)
_SOME_CURVES = _ALL_CURVES.where(tuple_(curves.c.state, curves.c.kind).in_(bindparam("keys", expanding=True)))


def of_ticket(connection: Connection, ticket_id: int) -> Kept | None:
    """What is kept of a ticket, or None."""
    row = connection.execute(_ONE, {"wanted": ticket_id}).first()
    return _kept(row) if row else None


def of_visit(connection: Connection, visit_id: int) -> list[Line]:
    """What is kept of a visit's tickets."""
    return [_line(row) for row in connection.execute(_OF_VISIT, {"wanted": visit_id})]


def keep(connection: Connection, kept: Kept) -> None:
    """Write a ticket's window in the place of what was kept."""
    connection.execute(_FORGET, {"wanted": kept.ticket_id})
    connection.execute(insert(windows), asdict(kept))


def was_told(connection: Connection, ticket_id: int, last: date | None) -> None:
    """Note the last day that the customer reckons with now."""
    connection.execute(_TOLD, {"wanted": ticket_id, "last_told": last})


def forget(connection: Connection, ticket_id: int) -> None:
    """Erase what is kept of a ticket."""
    connection.execute(_FORGET, {"wanted": ticket_id})


def forget_over(connection: Connection, last_stage: str) -> int:
    """Erase the windows of what is ready or has left, and tell how many."""
    return connection.execute(_FORGET_OVER, {"last_stage": last_stage}).rowcount


def is_any_due(connection: Connection, last_stage: str, since: datetime) -> bool:
    """Whether `forget_over` or `due` finds anything."""
    is_over = connection.execute(_OVER.limit(1), {"last_stage": last_stage}).first() is not None
    return is_over or bool(due(connection, last_stage, since, 1))


def due(connection: Connection, last_stage: str, since: datetime, most: int) -> list[Waiting]:
    """Devices without a window, whose ticket has changed since theirs, or whose was made before a moment."""
    rows = connection.execute(_DUE, {"last_stage": last_stage, "since": since, "most": most})
    return [_waiting(row) for row in rows]


def waiting(connection: Connection, ticket_id: int, last_stage: str) -> Waiting | None:
    """A ticket as `due` tells it, due or not; None where it is not here, or ready."""
    row = connection.execute(_THIS, {"wanted": ticket_id, "last_stage": last_stage}).first()
    return _waiting(row) if row else None


def moved(connection: Connection) -> list[Line]:
    """Devices whose customer reckons with a day that will probably be missed, the longest known first."""
    return [_line(row) for row in connection.execute(_MOVED)]


def too_late(connection: Connection) -> list[Line]:
    """Devices that are needed by a day that will probably be missed, the earliest day first."""
    return [_line(row) for row in connection.execute(_TOO_LATE)]


def what_was_learned(connection: Connection) -> Learned | None:
    """What was learned last, or None before the first time."""
    row = connection.execute(select(*_LEARNED)).first()
    return Learned(*row) if row else None


def past(connection: Connection, known: Learned, states: Iterable[tuple[str, str]] | None = None) -> Past:
    """What was learned with its curves: all, or only those that tell of these states and kinds."""
    if states is None:
        rows = connection.execute(_ALL_CURVES)
    else:
        keys = sorted({key for state, kind in states for key in lookups(state, kind)})
        rows = connection.execute(_SOME_CURVES, {"keys": keys})
    found = {(state, kind): from_data(curve) for state, kind, curve in rows}
    return Past(found, dict(known.counts), known.came_out)


def keep_learned(connection: Connection, known: Learned, found: Past) -> None:
    """Write what was learned in the place of what was known."""
    forget_learned(connection)
    connection.execute(insert(learned), asdict(known) | {"id": 1})
    rows = [{"state": state, "kind": kind, "curve": as_data(curve)} for (state, kind), curve in found.curves.items()]
    if rows:
        connection.execute(insert(curves), rows)


def forget_learned(connection: Connection) -> None:
    """Learn anew at the next opportunity."""
    connection.execute(delete(learned))
    connection.execute(delete(curves))


def _kept(row: Any) -> Kept:
    ticket_id, made_at, made_for, why, *rest = row
    return Kept(ticket_id, made_at, made_for, Why(why), *rest)


def _waiting(row: Any) -> Waiting:
    ticket_id, visit_id, revision, kind, stage, hold, since, promised_on, *kept = row
    was = _kept(kept) if kept[0] is not None else None
    return Waiting(ticket_id, visit_id, revision, kind, stage, hold, since, promised_on, was)


def _line(row: Any) -> Line:
    number, device, needed_by, promised_on, *kept = row
    return Line(number, device, needed_by, promised_on, _kept(kept))

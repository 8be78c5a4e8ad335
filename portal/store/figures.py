"""What the shop counts of itself: adding to the counts, reading them, and what has yet to be counted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime

from sqlalchemy import Connection, bindparam, case, func, insert, null, select, update

from notifications.tables import outbox
from portal.rules.figures import Asking, Figure, Measure
from portal.rules.questions import State
from portal.store.figures_tables import figures
from portal.store.question_tables import questions
from portal.store.tables import tickets, visits

WEEKLY = (Measure.HERE, Measure.TOLD)  # what is looked at over time; of the rest the year is summed up


_UNCOUNTED = (
    select(tickets.c.id)
    .where(tickets.c.ending.is_not(None), tickets.c.counted_at.is_(None), tickets.c.ended_at <= bindparam("before"))
    .order_by(tickets.c.id)
    .limit(bindparam("most"))
)
_ASKED = select(questions.c.put_at, questions.c.state, questions.c.settled_at).where(questions.c.put_at.is_not(None))
_ASKED_OF = _ASKED.where(questions.c.ticket_id.in_(bindparam("ids", expanding=True)))
_ASKED_OPEN = _ASKED.where(questions.c.ticket_id.in_(select(tickets.c.id).where(tickets.c.ending.is_(None))))
_TOLD_OF = (
    select(outbox.c.made_at, outbox.c.state)
    .join(tickets, outbox.c.reference == tickets.c.ref)
    .where(tickets.c.id.in_(bindparam("ids", expanding=True)))
)
# A message about a whole visit is counted with the first of its devices.
_TOLD_VISITS_OF = (
    select(outbox.c.made_at, outbox.c.state)
    .join(visits, outbox.c.reference == visits.c.ref)
    .where(
        select(func.min(tickets.c.id))
        .where(tickets.c.visit_id == visits.c.id)
        .scalar_subquery()
        .in_(bindparam("ids", expanding=True))
    )
)
# Of two clocks that count at once, the second finds nothing left to mark.
_COUNTED = (
    update(tickets)
    .where(tickets.c.id.in_(bindparam("ids", expanding=True)), tickets.c.counted_at.is_(None))
    .values(counted_at=bindparam("now"))
    .returning(tickets.c.id)
)
_WEEK = case((figures.c.measure.in_(WEEKLY), figures.c.week), else_=null())
_YEAR = (
    select(_WEEK, figures.c.measure, figures.c.name, figures.c.bucket, func.sum(figures.c.count))
    .where(figures.c.week >= bindparam("since"))
    .group_by(_WEEK, figures.c.measure, figures.c.name, figures.c.bucket)
)
_KEY = (
    figures.c.week == bindparam("of_week"),
    figures.c.measure == bindparam("of_measure"),
    figures.c.name == bindparam("of_name"),
    figures.c.bucket == bindparam("of_bucket"),
)
_MORE = update(figures).where(*_KEY).values(count=figures.c.count + bindparam("more"))


def uncounted(connection: Connection, before: datetime, most: int) -> Sequence[int]:
    """Tickets that ended before a moment and are in no count yet."""
    return connection.execute(_UNCOUNTED, {"before": before, "most": most}).scalars().all()


def asked(connection: Connection, ids: Sequence[int]) -> list[Asking]:
    """The questions that were put about these tickets."""
    return [_asking(*row) for row in connection.execute(_ASKED_OF, {"ids": ids})]


def asked_open(connection: Connection) -> list[Asking]:
    """The questions that were put about repairs that are not over."""
    return [_asking(*row) for row in connection.execute(_ASKED_OPEN)]


def told(connection: Connection, ids: Sequence[int]) -> list[tuple[datetime, str]]:
    """When a message about these tickets was written, and its state."""
    found = [connection.execute(statement, {"ids": ids}) for statement in (_TOLD_OF, _TOLD_VISITS_OF)]
    return [(row[0], row[1]) for rows in found for row in rows]


def add(connection: Connection, counted: Counter[Figure]) -> None:
    """Add to the counts."""
    for figure, more in sorted(counted.items()):
        key = {
            "of_week": figure.week,
            "of_measure": figure.measure.value,
            "of_name": figure.name,
            "of_bucket": figure.bucket,
        }
        if connection.execute(_MORE, key | {"more": more}).rowcount == 0:
            values = {name.removeprefix("of_"): value for name, value in key.items()}
            connection.execute(insert(figures), values | {"count": more})


def mark(connection: Connection, ids: Sequence[int], now: datetime) -> Sequence[int]:
    """Say that these tickets are counted; tells those that were not yet."""
    return connection.execute(_COUNTED, {"ids": ids, "now": now}).scalars().all()


def year(connection: Connection, since: date) -> Mapping[tuple[date | None, Measure, str, int], int]:
    """The counts since a week, by week (None for what is summed up), measure, name and bucket."""
    rows = connection.execute(_YEAR, {"since": since})
    return {(week, Measure(measure), name, bucket): int(count) for week, measure, name, bucket, count in rows}


def _asking(put_at: datetime, state: str, settled_at: datetime | None) -> Asking:
    return Asking(put_at, State(state), settled_at)

"""How much waits for the keeper, counted in one statement."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from sqlalchemy import ColumnElement, Connection, FromClause, Select, bindparam, func, literal, select, union_all

from notifications.tables import outbox
from notifications.undelivered import UNDECIDED
from portal.rules.questions import State
from portal.rules.rights import State as RequestState
from portal.rules.stages import Hold
from portal.store.ending_tables import complaints
from portal.store.forecast_tables import windows
from portal.store.question_tables import questions
from portal.store.rights_tables import requests
from portal.store.tables import tickets


class Matter(StrEnum):
    """What may wait for the keeper."""

    SIGN_OFF = "sign_off"  # questions about money
    WROTE = "wrote"  # customers whose words nobody has read
    UNDELIVERED = "undelivered"  # messages that somebody must decide about
    REQUEST = "request"  # under data law
    COMPLAINT = "complaint"  # not answered
    DISPUTE = "dispute"  # on hold for one, or claimed by somebody else
    MOVED = "moved"  # the day that the customer was told will probably be missed
    READY = "ready"  # ready and not collected


_OPEN = tickets.c.ending.is_(None)


def _count(matter: Matter, table: FromClause, *when: ColumnElement[bool]) -> Select[str, int]:
    return select(literal(matter.value), func.count()).select_from(table).where(*when)


_ALL = union_all(
    _count(
        Matter.SIGN_OFF,
        questions,
        questions.c.ticket_id.in_(select(tickets.c.id).where(_OPEN)),
        questions.c.state == State.AWAITING.value,
    ),
    _count(Matter.WROTE, tickets, tickets.c.unread_since.is_not(None)),
    _count(Matter.UNDELIVERED, outbox, *UNDECIDED),
    _count(Matter.REQUEST, requests, requests.c.state == RequestState.OPEN.value),
    _count(Matter.COMPLAINT, complaints, complaints.c.answered_at.is_(None), complaints.c.closed_at.is_(None)),
    _count(Matter.DISPUTE, tickets, _OPEN, (tickets.c.hold == Hold.DISPUTE.value) | tickets.c.claimed_at.is_not(None)),
    _count(Matter.MOVED, windows, windows.c.moved_since.is_not(None)),
    _count(Matter.READY, tickets, _OPEN, tickets.c.stage == bindparam("last_stage")),
)


def waiting(connection: Connection, last_stage: str) -> Mapping[Matter, int]:
    """How much of each matter there is; `last_stage` is the key of the one in which devices are ready."""
    rows = connection.execute(_ALL, {"last_stage": last_stage})
    return {Matter(row[0]): row[1] for row in rows}

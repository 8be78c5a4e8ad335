"""What is owed back and was not given back by its day: the keepers are told, once."""

from __future__ import annotations

from datetime import datetime

from portal.actions import tell
from portal.actions.desk import Desk
from portal.rules.days import local_day
from portal.store import refunds, tickets


def remind(desk: Desk, now: datetime, most: int = 100) -> tuple[int, int]:
    """Tell the keepers of what is overdue and they were not told of: (looked at, told)."""
    with desk.writing() as connection:
        late = refunds.overdue(connection, local_day(now, desk.policy(connection)), most)
        for ticket_id in late:
            ticket, owed = tickets.by_id(connection, ticket_id), refunds.of_ticket(connection, ticket_id)
            if ticket and owed:
                tell.refund_overdue(connection, ticket, owed.due_on, now)
            refunds.note_told(connection, ticket_id, now)
    return len(late), len(late)

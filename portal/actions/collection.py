"""Reminding owners of devices that are ready. Swept by the clock; doing it twice at one moment changes nothing."""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import Desk
from portal.actions.disputes import is_disputed
from portal.rules.collection import Waiting, due_now, next_reminder
from portal.rules.hours import next_open
from portal.rules.policy import Policy
from portal.rules.return_ways import Way
from portal.store import collection, handovers
from portal.store.tickets import Ticket

BATCH = 50  # tickets in one transaction
AGAIN_AFTER_DISPUTE = timedelta(days=1)


def remind(desk: Desk, now: datetime) -> tuple[int, int]:
    """Remind whoever is due: (tickets looked at, reminders put)."""
    looked_at = reminded = 0
    while True:
        with desk.writing() as connection:
            policy = desk.policy(connection)
            ids = [
                *collection.fresh(connection, policy.stages[-1].key, BATCH),
                *collection.due(connection, now, BATCH),
            ]
            for ticket_id in ids:
                reminded += _remind(connection, ticket_id, policy, now)
        looked_at += len(ids)
        if not ids:
            return looked_at, reminded


def _remind(connection: Connection, ticket_id: int, policy: Policy, now: datetime) -> int:
    found = collection.waiting(connection, ticket_id)
    if found is None:
        return 0
    ticket, waiting = found
    if ticket.stage != policy.stages[-1].key:  # the shop's last stage is another one by now
        collection.remind(connection, ticket_id, waiting, collection.NEVER, waiting.reminded)
        return 0
    if ticket.notice_at is not None:  # what was said formally is not said again in a friendly tone
        collection.remind(connection, ticket_id, waiting, collection.NEVER, waiting.reminded)
        return 0
    if is_disputed(connection, ticket):
        collection.remind(connection, ticket_id, waiting, now + AGAIN_AFTER_DISPUTE, waiting.reminded)
        return 0
    chosen = handovers.choice(connection, ticket_id)
    if chosen and chosen.way is Way.POST:  # it waits for the shop
        collection.remind(connection, ticket_id, waiting, collection.NEVER, waiting.reminded)
        return 0
    due = due_now(waiting, policy, now)
    opens = next_open(now, policy)
    if due is not None and opens is not None and opens > now:  # the clock slept, and woke up while the shop is closed
        collection.remind(connection, ticket_id, waiting, opens, waiting.reminded)
        return 0
    if due is not None:
        tell.uncollected(connection, ticket, waiting, due.place, now)
    sent = waiting.reminded if due is None else due.place + 1
    after = next_reminder(Waiting(waiting.ready_at, waiting.chosen_day, sent), policy)
    collection.remind(connection, ticket_id, waiting, after.due_at if after else collection.NEVER, sent)
    return int(due is not None)


def is_waiting(ticket: Ticket, policy: Policy) -> bool:
    """Whether a device is ready and has not been collected."""
    return ticket.ending is None and ticket.stage == policy.stages[-1].key

"""Messages about devices that are ready and stay."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.actions.charges import storage_to_come
from portal.actions.disputes import is_disputed
from portal.letters.told import Facts, Letterbox, StillTrue, Told
from portal.rules.collection import tone
from portal.rules.days import local_day
from portal.rules.return_ways import Way
from portal.store import collection, handovers


def _uncollected(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket, policy = told.tickets[0], told.policy
    found = collection.waiting(connection, ticket.id)
    facts = told.facts[-1]
    if found is None or ticket.ending or ticket.stage != policy.stages[-1].key:
        return Withdrawn("the device is not waiting any more")
    waiting = found[1]
    if is_disputed(connection, ticket) or waiting.ready_at.isoformat() != facts["ready"]:
        return Withdrawn("the device does not wait as it did")
    if ticket.notice_at is not None:
        return Withdrawn("a formal notice was posted")
    choice = handovers.choice(connection, ticket.id)
    if choice and choice.way is Way.POST:
        return Withdrawn("the customer has it posted")
    if facts["chosen"] != (waiting.chosen_day.isoformat() if waiting.chosen_day else None):
        return Withdrawn("the customer has chosen a day meanwhile")
    return {
        "tone": tone(facts["place"], len(policy.collection.reminders)).value,
        "ready_on": local_day(waiting.ready_at, policy),
        **storage_told(desk, connection, told),
    }


def storage_told(desk: Letterbox, connection: Connection, told: Told) -> Facts:
    """What storage will cost, for `_storage.txt`; `storage_from` is None where it costs nothing."""
    coming = storage_to_come(desk.shelf, connection, told.tickets[0], told.policy)
    if coming is None:
        return {"storage_from": None}
    return {"storage_from": coming.starts, "storage_minor": coming.day_minor, "storage_most": coming.most_minor}


EVENTS: Mapping[str, StillTrue] = {
    "uncollected": _uncollected,
}

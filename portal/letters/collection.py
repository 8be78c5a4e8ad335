"""Messages about devices that are ready and stay."""

from __future__ import annotations

from collections.abc import Mapping
from zoneinfo import ZoneInfo

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.actions.disputes import is_disputed
from portal.actions.terms import accepted_point
from portal.letters.told import Facts, Letterbox, StillTrue, Told
from portal.rules.collection import storage_starts, tone
from portal.rules.days import local_day
from portal.rules.money import to_minor
from portal.rules.return_ways import Way
from portal.store import collection, handovers


def _uncollected(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
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
    storage = policy.collection.storage
    agreed = storage is not None and accepted_point(connection, told.visit.id, storage.terms_point)
    return {
        "tone": tone(facts["place"], len(policy.collection.reminders)).value,
        "storage_minor": to_minor(storage.per_day, policy.shop.currency) if storage and agreed else None,
        "storage_most": to_minor(storage.at_most, policy.shop.currency) if storage and agreed else None,
        "storage_from": storage_starts(waiting, storage, ZoneInfo(policy.shop.zone)) if storage and agreed else None,
        "ready_on": local_day(waiting.ready_at, policy),
    }


EVENTS: Mapping[str, StillTrue] = {
    "uncollected": _uncollected,
}

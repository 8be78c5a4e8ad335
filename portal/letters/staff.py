"""Messages to the staff: what waits for the keeper, who is often away."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.letters.told import Facts, Letterbox, StaffStillTrue, StaffTold
from portal.store import journal


def _let_through(_desk: Letterbox, connection: Connection, told: StaffTold) -> Facts | Withdrawn:
    # One deed writes an entry a check, its reason in the first.
    reasons = [
        entry.text
        for entry in journal.entries(connection, told.ticket.id)
        if entry.event == "let_through" and entry.text and entry.entry <= told.facts[-1]["entry"]
    ]
    return {"why": reasons[-1]} if reasons else Withdrawn("the reason is no longer on file")


EVENTS: Mapping[str, StaffStillTrue] = {
    "let_through": _let_through,
}

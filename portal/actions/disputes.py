"""Whether a device is in dispute: then nobody is reminded, charged for storage or written to formally."""

from __future__ import annotations

from sqlalchemy import Connection

from portal.rules.stages import Hold
from portal.store import complaints, records, warranty
from portal.store.tickets import Ticket


def is_disputed(connection: Connection, ticket: Ticket) -> bool:
    """Whether it is on hold for a dispute, claimed by somebody else, complained about, or objected to while it is here.

    An objection to the record waits for a new version of it, one to what was found for another look.
    """
    return (
        ticket.hold is Hold.DISPUTE
        or ticket.claimed_at is not None
        or complaints.open_of(connection, ticket.id) is not None
        or (ticket.ending is None and _is_objected_to(connection, ticket))
    )


def _is_objected_to(connection: Connection, ticket: Ticket) -> bool:
    version, came_back = records.newest(connection, ticket.id), warranty.of_ticket(connection, ticket.id)
    return bool((version and version.answer == "objected") or (came_back and came_back.objected_at))

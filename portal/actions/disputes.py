"""Whether a device is in dispute: then nobody is reminded, charged for storage or written to formally."""

from __future__ import annotations

from sqlalchemy import Connection

from portal.rules.stages import Hold
from portal.store import complaints
from portal.store.tickets import Ticket


def is_disputed(connection: Connection, ticket: Ticket) -> bool:
    """Whether it is on hold for a dispute, somebody else claims it, or a complaint about it is open."""
    return (
        ticket.hold is Hold.DISPUTE
        or ticket.claimed_at is not None
        or complaints.open_of(connection, ticket.id) is not None
    )

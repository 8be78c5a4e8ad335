"""What is still to be paid for a device, as the handover asks for it."""

from __future__ import annotations

from sqlalchemy import Connection


def owing(_connection: Connection, _ticket_id: int) -> int | None:
    """In minor units of the shop's currency; None while no account of it is kept here."""
    return None

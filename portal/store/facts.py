"""What the gates need to know of a ticket, read in one place."""

from __future__ import annotations

from sqlalchemy import Connection, bindparam, exists, func, select

from portal.rules.gates import Facts
from portal.store.tables import contacts, journal
from portal.store.tickets import Ticket

_ENTERED = (
    select(func.coalesce(func.max(journal.c.entry), 0))
    .where(journal.c.ticket_id == bindparam("ticket_id"), journal.c.event.in_(("arrived", "moved")))
    .scalar_subquery()
)
_FACTS = select(
    exists().where(
        contacts.c.visit_id == bindparam("visit_id"),
        contacts.c.may_be_told,
        (contacts.c.email != "") | (contacts.c.phone != ""),
    ),
    exists().where(
        journal.c.ticket_id == bindparam("ticket_id"),
        journal.c.event == "noted",
        journal.c.audience == "customer",
        journal.c.entry > _ENTERED,
    ),
)


def facts(connection: Connection, ticket: Ticket) -> Facts:
    """Every fact that some gate may ask for, in one round trip."""
    reachable, noted = connection.execute(_FACTS, {"visit_id": ticket.visit_id, "ticket_id": ticket.id}).one()
    return Facts(
        fault_described=bool(ticket.fault),
        contact_reachable=bool(reachable),
        customer_note_in_stage=bool(noted),
    )

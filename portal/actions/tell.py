"""Which messages a deed puts into the outbox: events, causes and opaque references, never words or addresses.

The cause names the deed by ticket and journal entry, so that the same deed never makes a second message.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from notifications import outbox
from notifications.outbox import Message
from portal.store import people, visits
from portal.store.tickets import Ticket
from portal.store.visits import Contact, Visit


def taken_in(connection: Connection, visit: Visit, now: datetime) -> None:
    """The devices are here, and this is the link."""
    for contact in told(connection, visit.id):
        message = Message("taken_in", f"visit {visit.ref} taken in", contact.ref, visit.ref, channels(contact))
        outbox.put(connection, message, now)


def stage_reached(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The device has come to a stage. Whether customers are told of it is for the caller, who knows the policy."""
    _about(connection, ticket, "stage_reached", {"stage": ticket.stage}, now)


def noted(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """There is a note for the customer."""
    _about(connection, ticket, "noted", {"entry": ticket.revision}, now)


def ended(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The device has left the shop. What was still to be said about it is no longer true."""
    outbox.withdraw(connection, now, "the device has left the shop", reference=ticket.ref)
    _about(connection, ticket, "ended", {"ending": ticket.ending}, now)


def link_again(connection: Connection, visit: Visit, contact: Contact, cause: str, now: datetime) -> None:
    """The contact's own link, asked for or renewed. Sent even to those who are told nothing else: they asked."""
    if channels(contact):
        outbox.put(connection, Message("link_again", cause, contact.ref, visit.ref, channels(contact)), now)


def let_through(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The bench let a test sheet through: the keeper hears of it."""
    cause = f"ticket {ticket.ref} entry {ticket.revision}"
    keepers(connection, "let_through", cause, ticket.ref, {"entry": ticket.revision}, now)


def keepers(
    connection: Connection, event: str, cause: str, reference: str, facts: Mapping[str, Any], now: datetime
) -> None:
    """Tell every keeper who left an address for the shop's news; who has none finds it on the bench's page of today."""
    for person in people.everybody(connection):
        if person.is_keeper and not person.disabled_at and person.email:
            outbox.put(connection, Message(event, cause, staff_recipient(person.id), reference, facts=facts), now)


def staff_recipient(staff_id: int) -> str:
    """How the outbox names somebody of the staff; contacts are named by their ref."""
    return f"staff {staff_id}"


def staff_id(recipient: str) -> int | None:
    """Whom of the staff the outbox names, or None where it names a contact."""
    name, _, number = recipient.partition(" ")
    return int(number) if name == "staff" else None


def told(connection: Connection, visit_id: int) -> list[Contact]:
    """The contacts of a visit who are told things and can be reached."""
    return [
        contact for contact in visits.contacts_of(connection, visit_id) if contact.may_be_told and channels(contact)
    ]


def channels(contact: Contact) -> tuple[str, ...]:
    """The channels a contact can be reached by, in order."""
    return ("mail",) if contact.email else ()


def _about(connection: Connection, ticket: Ticket, event: str, facts: Mapping[str, Any], now: datetime) -> None:
    for contact in told(connection, ticket.visit_id):
        message = Message(
            event,
            f"ticket {ticket.ref} entry {ticket.revision}",
            contact.ref,
            ticket.ref,
            channels(contact),
            facts=facts,
        )
        outbox.put(connection, message, now)

"""Whose code opens the handover of a device now, and what that code is."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import Desk, done_before, find
from portal.rules import collection_code, throttle
from portal.rules.collection_code import MOST_TRIES, WINDOW, Holder
from portal.rules.policy import Policy
from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.rules.tokens import LinkKind
from portal.store import handovers, throttles, tickets, visits
from portal.store.tickets import Ticket
from portal.store.visits import Contact, Visit

TOO_MANY = say(
    "Too many wrong codes were typed for this device. Hand it over without one, with what shows that it is the right "
    "person, or wait a day."
)


def of_contact(secret: bytes, contact: Contact, ticket_ref: str, used: int) -> str:
    """The code of a device that a contact may have, as people read it."""
    holder = Holder(LinkKind.CONTACT, contact.ref, contact.link_version, used)
    return collection_code.grouped(collection_code.code(secret, holder, ticket_ref))


def of_stub(secret: bytes, visit: Visit, ticket_ref: str, used: int) -> str:
    """The code on the docket's stub, as people read it."""
    holder = Holder(LinkKind.DOCKET, visit.ref, visit.docket_version, used)
    return collection_code.grouped(collection_code.code(secret, holder, ticket_ref))


def on_stub(desk: Desk, connection: Connection, visit: Visit) -> dict[str, str]:
    """The codes that the docket's stub carries, by number, of what is here; none where somebody can be sent them."""
    if not needs_stub(visits.contacts_of(connection, visit.id), desk.policy(connection)):
        return {}
    return {
        ticket.number: of_stub(desk.links.secret, visit, ticket.ref, handovers.codes_used(connection, ticket.id))
        for ticket in tickets.of_visit(connection, visit.id)
        if ticket.ending is None
    }


def needs_stub(contacts: Sequence[Contact], policy: Policy) -> bool:
    """Whether the paper must carry the code, since nobody who may collect can be sent one."""
    return not any(contact.may_collect and tell.proving_channels(contact, policy) for contact in contacts)


def holders(connection: Connection, ticket: Ticket, policy: Policy) -> list[Holder]:
    """Whose code opens the handover of this device at this moment; nobody's once it has left."""
    if ticket.ending:
        return []
    used = handovers.codes_used(connection, ticket.id)
    contacts = visits.contacts_of(connection, ticket.visit_id)
    found = [
        Holder(LinkKind.CONTACT, contact.ref, contact.link_version, used) for contact in contacts if contact.may_collect
    ]
    if needs_stub(contacts, policy):
        visit = visits.by_id(connection, ticket.visit_id)
        found.insert(0, Holder(LinkKind.DOCKET, visit.ref, visit.docket_version, used))
    return found


def first(desk: Desk, connection: Connection, ticket: Ticket) -> str:
    """The code on the docket's stub, or else the owner's. Raises LookupError once the device has left."""
    found = holders(connection, ticket, desk.policy(connection))
    if not found:
        raise LookupError("A device that has left has no collection code.")
    return collection_code.code(desk.links.secret, found[0], ticket.ref)


def count_try(desk: Desk, number: str, seen: int | None, deed_key: str | None) -> None:
    """Count a try of a code, in a transaction of its own, so that it stays counted. Raises Unfit (field "code").

    A form that was sent before, or was filled in on a stale page, tries no code.
    """
    now = desk.clock.now()
    with desk.writing() as connection:
        ticket = find(connection, number)
        if done_before(connection, deed_key) or (seen is not None and seen < ticket.revision):
            return
        verdict = throttles.hit(connection, _tries_of(desk, ticket), now, MOST_TRIES, WINDOW)
    if verdict.retry_at:
        raise Unfit("code", TOO_MANY)


def forget_tries(desk: Desk, connection: Connection, ticket: Ticket) -> None:
    """The right code was typed."""
    throttles.clear(connection, _tries_of(desk, ticket))


def _tries_of(desk: Desk, ticket: Ticket) -> str:
    return throttle.key(desk.links.secret, "collection code of", ticket.ref)

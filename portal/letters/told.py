"""What a message is about, looked up at the moment it is sent."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any, Protocol

from sqlalchemy import Connection

from notifications.letters import Due, Withdrawn
from portal.actions import tell
from portal.actions.desk import PolicyShelf
from portal.links import Links
from portal.rules.messages import HEARD_ALL_THE_SAME, Wants
from portal.rules.policy import Policy
from portal.rules.restriction import Use
from portal.store import people, rights, tickets, visits
from portal.store.people import Person
from portal.store.tickets import Ticket
from portal.store.visits import Contact, Visit
from portal.store.wordings import Wording

Facts = Mapping[str, Any]


class Letterbox(Protocol):
    """What letters are written with; a desk is one."""

    @property
    def links(self) -> Links:
        """Makes the links."""

    @property
    def shelf(self) -> PolicyShelf:
        """Reads the policies that were in force."""

    @property
    def hasty(self) -> bool:
        """Whether papers are attached as HTML, since a PDF takes long to make."""

    def reading(self) -> AbstractContextManager[Connection]:
        """One consistent view."""

    def policy(self, connection: Connection) -> Policy:
        """The policy in force."""


@dataclass(frozen=True)
class Told:
    """What a message is about, as it stands now. `tickets` is one ticket, or all of the visit's."""

    visit: Visit
    contact: Contact
    tickets: Sequence[Ticket]
    policy: Policy
    facts: Sequence[Facts]
    wording: Wording | None = None  # the shop's own words for it, where there are any


@dataclass(frozen=True)
class StaffTold:
    """What a message to somebody of the staff is about, as it stands now."""

    person: Person
    ticket: Ticket
    policy: Policy
    facts: Sequence[Facts]
    wording: Wording | None = None


# What an event's words need beside the usual, or that it is no longer true.
StillTrue = Callable[[Letterbox, Connection, Told], Facts | Withdrawn]
StaffStillTrue = Callable[[Letterbox, Connection, StaffTold], Facts | Withdrawn]


def look_up(connection: Connection, due: Due, policy: Policy) -> Told | Withdrawn:
    """What a due message is about, as it stands now, or why nobody is to be told of it any more."""
    contact = visits.contact_by_ref(connection, due.recipient)
    if contact is None:
        return Withdrawn("the contact is no longer on file")
    silent = not contact.may_be_told or contact.wants == Wants.NONE
    if silent and due.event not in HEARD_ALL_THE_SAME:
        return Withdrawn("the contact is not to be told any more")
    visit = visits.by_id(connection, contact.visit_id)
    if visit.restricted_at and due.event not in HEARD_ALL_THE_SAME and not _may_be_written_to(connection, visit):
        return Withdrawn("the data is only stored, at its owner’s wish")
    of_visit = tickets.of_visit(connection, visit.id)
    about = [ticket for ticket in of_visit if ticket.ref == due.reference]
    if not about and due.reference != visit.ref:
        return Withdrawn("the repair is no longer on file")
    return Told(visit, contact, about or of_visit, policy, due.facts)


def _may_be_written_to(connection: Connection, visit: Visit) -> bool:
    """Whether the owner, or a claim, allows it although the data is only stored."""
    return Use.WRITE in {each.use for each in rights.allowed_uses_of(connection, visit.id)}


def look_up_staff(connection: Connection, due: Due, policy: Policy) -> StaffTold | Withdrawn:
    """The same for a message to somebody of the staff, who reads it in the shop's first language."""
    person = people.by_id(connection, tell.staff_id(due.recipient) or 0)
    if person is None or person.disabled_at:
        return Withdrawn("nobody of that name works here any more")
    ticket = tickets.by_ref(connection, due.reference)
    if ticket is None:
        return Withdrawn("the repair is no longer on file")
    return StaffTold(person, ticket, policy, due.facts)

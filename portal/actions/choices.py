"""What customers choose about their messages: how they hear from the shop, how much, and in which language."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import CUSTOMER, By, Change, Desk, NotFound, Outcome, change_within, find
from portal.rules.messages import Channel, Wants, in_order, wanted
from portal.rules.policy import Policy
from portal.rules.refusals import Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.store import tickets, visits
from portal.store.tickets import Ticket
from portal.store.visits import Contact

Decide = Callable[[Connection, Contact, Policy], tuple[Event, dict[str, object]]]
Write = Callable[[Connection, Contact, datetime], None]


@dataclass(frozen=True)
class Chosen:
    """What was chosen, as typed: `ways` are channels in order, "" a place left empty; `language` "" changes nothing."""

    wants: str
    ways: Sequence[str] = ()
    no_reminders: bool = False
    language: str = ""


def open_ways(contact: Contact, installed: Collection[str]) -> list[Channel]:
    """The channels that can reach a contact, of those that the shop has."""
    return [channel for channel in Channel if channel in installed and tell.address(contact, channel)]


def choose(
    desk: Desk, contact_ref: str, chosen: Chosen, installed: Collection[str], *, deed_key: str | None = None
) -> Outcome:
    """Keep what a contact chose; what waits for them goes by it.

    `installed` are the channels that the shop has. Raises Unfit, and NotFound for a contact no longer on file.
    """
    return change_contact(desk, CUSTOMER, contact_ref, _chosen(chosen, installed), deed_key=deed_key)


def choose_for(
    desk: Desk,
    by: By,
    number: str,
    role: str,
    chosen: Chosen,
    installed: Collection[str],
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Keep what the contact with this role ("owner" or "second") asked somebody of the shop for. Raises as above."""
    with desk.writing() as connection:
        ticket = find(connection, number)
        known = [each for each in visits.contacts_of(connection, ticket.visit_id) if each.role == role]
        if not known:
            raise NotFound(say("This repair has no such contact."))
        change = _change(known[0], _chosen(chosen, installed))
        return change_within(desk, connection, by, number, change, seen=seen, deed_key=deed_key)


def _chosen(chosen: Chosen, installed: Collection[str]) -> Decide:
    def decide(connection: Connection, contact: Contact, policy: Policy) -> tuple[Event, dict[str, object]]:
        wants = wanted(chosen.wants)
        columns: dict[str, object] = {"wants": wants.value, "no_reminders": chosen.no_reminders}
        if wants is not Wants.NONE:
            columns["channels"] = in_order(chosen.ways, open_ways(contact, installed))
        if chosen.language and contact.role == "owner":
            if chosen.language not in policy.shop.languages:
                raise Unfit("language", say("The shop does not write in that language."))
            visits.write_in(connection, contact.visit_id, chosen.language)
        return Event("chose_messages", {"contact": contact.role, "wants": wants.value}), columns

    return decide


def stop_reminders(desk: Desk, contact_ref: str) -> None:
    """Send a contact no reminders any more, only what is new. Repeatable. Raises NotFound as above."""
    with desk.reading() as connection:
        if _contact(connection, contact_ref).no_reminders:
            return

    def decide(_connection: Connection, contact: Contact, _policy: Policy) -> tuple[Event, dict[str, object]]:
        return Event("stopped_reminders", {"contact": contact.role}), {"no_reminders": True}

    change_contact(desk, CUSTOMER, contact_ref, decide)


def change_contact(
    desk: Desk,
    by: By,
    contact_ref: str,
    decide: Decide,
    write: Write | None = None,
    *,
    deed_key: str | None = None,
) -> Outcome:
    """Change a contact's row as `decide` says, `write` what hangs on it, and say so in the journal of the first device.

    Raises NotFound for a contact no longer on file, and whatever `decide` raises.
    """
    with desk.writing() as connection:
        contact = _contact(connection, contact_ref)
        ticket = tickets.of_visit(connection, contact.visit_id)[0]
        return change_within(desk, connection, by, ticket.number, _change(contact, decide, write), deed_key=deed_key)


def _change(
    contact: Contact, decide: Decide, write: Write | None = None
) -> Callable[[Connection, Ticket, Policy], Change]:
    def change(connection: Connection, _ticket: Ticket, policy: Policy) -> Change:
        event, columns = decide(connection, contact, policy)

        def keep(connection: Connection, _ticket: Ticket, now: datetime) -> None:
            if columns:
                visits.change_contact(connection, contact.id, columns)
            if write:
                write(connection, contact, now)

        return Change([event], audience="bench", write=keep)

    return change


def _contact(connection: Connection, ref: str) -> Contact:
    contact = visits.contact_by_ref(connection, ref)
    if contact is None:
        raise NotFound(say("This contact is no longer on file."))
    return contact

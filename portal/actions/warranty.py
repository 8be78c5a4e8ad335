"""A device comes back within its warranty: taken in as a ticket linked to the earlier one; decided after looking."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime

from sqlalchemy import Connection
from sqlalchemy.exc import IntegrityError

from portal.actions import tell
from portal.actions.conversation import count_writing
from portal.actions.desk import (
    CUSTOMER,
    By,
    Change,
    Desk,
    Outcome,
    Stale,
    change_ticket,
    change_within,
    done_before,
    find,
)
from portal.actions.intake import NewDevice, NewVisit, Second, TakenIn, add_ticket, add_visit, fit_device, told_again
from portal.rules import warranty as rules
from portal.rules.afterwards import begins, warranty_ends
from portal.rules.days import local_day
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.stages import Event, must_be_here
from portal.rules.text import passage
from portal.rules.tokens import LinkKind
from portal.store import journal, visits, warranty
from portal.store.tickets import Ticket
from portal.store.visits import Contact


def warranty_of(ticket: Ticket, policy: Policy) -> date | None:
    """The last day of a device's warranty, or None where there is none."""
    if ticket.ending is None or ticket.ended_at is None:
        return None
    since = begins(ticket.ended_at, ticket.delivered_on, policy.shop.zone)
    return warranty_ends(since, ticket.ending, policy.warranty.months, policy.shop.zone)


def take_back_in(
    desk: Desk, by: By, number: str, fault: str, *, seen: int | None = None, deed_key: str | None = None
) -> TakenIn:
    """Take a device in again within its warranty, with the contact on file: a visit and a ticket of its own.

    Raises Unfit without a fault, Refused for a device without a warranty or after it, Stale where the earlier ticket
    has moved on. The same `deed_key` again changes nothing and tells the same.
    """
    try:
        return _take_back_in(desk, by, number, fault, seen, deed_key)
    except IntegrityError:  # PostgreSQL: the same form, sent twice at once, was faster; whatever else fails again
        return _take_back_in(desk, by, number, fault, seen, deed_key)


def _take_back_in(desk: Desk, by: By, number: str, fault: str, seen: int | None, deed_key: str | None) -> TakenIn:
    said = passage("fault", say("What it does now"), fault, required=True)
    now = desk.clock.now()
    with desk.writing() as connection:
        if before := done_before(connection, deed_key):
            return told_again(desk, connection, before)
        policy, earlier = desk.policy(connection), find(connection, number)
        if seen is not None and seen != earlier.revision:
            raise Stale(earlier, journal.entries(connection, earlier.id, after=seen))
        until = rules.must_be_within(warranty_of(earlier, policy), local_day(now, policy))
        known = policy.kind(earlier.kind)
        device = fit_device(NewDevice(earlier.device, said, known.key if known else ""), policy)
        ref = add_visit(desk, connection, _same_people(connection, earlier), policy, now)
        visit = visits.by_ref(connection, ref)
        if visit is None:
            raise RuntimeError("The visit just written cannot be read.")
        new, ticket_id = add_ticket(desk, by, connection, visit.id, device, policy, now, deed_key)
        warranty.add(connection, ticket_id, earlier.id, until)
        came = Event("came_back", {"earlier": earlier.number, "until": until.isoformat()})
        change_within(desk, connection, by, new, lambda *_: Change([came]))
        left = Event("came_back_as", {"later": new})
        change_within(desk, connection, by, earlier.number, lambda *_: Change([left], audience="bench"))
        tell.taken_in(connection, visit, now, in_person=True)
    return TakenIn(ref, (new,), desk.links.customer(LinkKind.DOCKET, ref, visit.docket_version))


def decide(
    desk: Desk,
    by: By,
    number: str,
    verdict: str,
    way: str,
    words: str,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Say, after looking, whether it is the same fault, and who pays the way. Its customer is told, and may object.

    Said anew, it answers an objection. Raises Unfit (fields "verdict", "way", "words"), Refused for a ticket that did
    not come back, or whose device has left.
    """
    found = rules.fit_verdict(verdict)
    paid_by = rules.fit_way(way, found)
    said = passage("words", say("What you found"), words, required=True)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        must_be_here(ticket.standing)
        _returned(connection, ticket)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            warranty.decide(connection, ticket.id, found, paid_by, now)

        event = Event("fault_compared", {"verdict": found.value, "paid_by": paid_by.value})
        return Change([event], text=said, write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=tell.fault_compared)


def object_to(desk: Desk, number: str, words: str, *, deed_key: str | None = None) -> Outcome:
    """The customer does not agree with what was found.

    Raises Unfit without words, TooOften, Refused where nothing was said.
    """
    said = passage("words", say("Why you do not agree"), words, limit=2000, required=True)
    count_writing(desk, number, deed_key)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        found = _returned(connection, ticket)
        if found.decided_at is None:
            raise Refused(say("Nobody has looked yet. You read here what we find."))
        if found.objected_at is not None:
            raise Refused(say("You have told us already. We look again and answer you."))

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            warranty.objects(connection, ticket.id, now)

        return Change([Event("verdict_objected")], text=said, write=write)

    return change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key)


def _returned(connection: Connection, ticket: Ticket) -> warranty.Return:
    found = warranty.of_ticket(connection, ticket.id)
    if found is None:
        raise Refused(say("This device did not come back within a warranty."))
    return found


def _same_people(connection: Connection, earlier: Ticket) -> NewVisit:
    """The contacts of the earlier visit, as far as they are on file, with what each may do."""
    visit = visits.by_id(connection, earlier.visit_id)
    arrival = NewVisit(language=visit.language)
    for contact in visits.contacts_of(connection, visit.id):
        if contact.role == "owner":
            arrival = replace(
                arrival,
                name=contact.name,
                email=contact.email,
                phone=contact.phone,
                phone_is_on_bench=contact.phone_is_on_bench,
            )
        else:
            arrival = replace(arrival, second=_second(contact))
    return arrival


def _second(contact: Contact) -> Second:
    return Second(
        contact.name, contact.email, contact.phone, contact.may_be_told, contact.may_agree, contact.may_collect
    )

"""Taking in: one visit with its contact, its link and a ticket for each device."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from sqlalchemy import Connection
from sqlalchemy.exc import IntegrityError

from portal.actions import tell, windows
from portal.actions.desk import By, Change, Desk, done_before, must_still_hold, standing_columns, write_events
from portal.actions.price_terms import TypedTerms, event_of, fit_terms, keep_at_intake
from portal.rules import stages
from portal.rules.contact import email, phone
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.stages import Event, Standing
from portal.rules.text import line, passage
from portal.rules.tokens import LinkKind, new_ref
from portal.store import search, tickets, visits


@dataclass(frozen=True)
class NewDevice:
    """A device as it is handed in. `kind` is a key of the policy's kinds; "" takes the first."""

    device: str
    fault: str
    kind: str = ""
    needed_by: date | None = None
    express: bool = False
    price: TypedTerms = field(default_factory=TypedTerms)  # what was agreed about the price, if anything was


@dataclass(frozen=True)
class Second:
    """A second person, if wished, with what they may do. Nobody where all three fields are empty."""

    name: str = ""
    email: str = ""
    phone: str = ""
    may_be_told: bool = False
    may_agree: bool = False
    may_collect: bool = False

    @property
    def is_somebody(self) -> bool:
        """Whether anything was typed."""
        return bool(self.name.strip() or self.email.strip() or self.phone.strip())


@dataclass(frozen=True)
class NewVisit:
    """What is typed at the counter; every field of the contact may be empty (nothing but a number is needed)."""

    devices: Sequence[NewDevice] = field(default_factory=tuple)
    name: str = ""
    email: str = ""
    phone: str = ""
    phone_is_on_bench: bool = False
    language: str = ""
    second: Second = Second()


@dataclass(frozen=True)
class TakenIn:
    """What a hand-in left: the visit's public id, its tickets' numbers and its docket's link."""

    visit_ref: str
    numbers: tuple[str, ...]
    link: str
    repeated: bool = False


MOST_DEVICES = 20


def take_in(desk: Desk, by: By, arrival: NewVisit, *, deed_key: str | None = None) -> TakenIn:
    """Take devices in over the counter: each becomes a ticket in the first stage, and the contact is told.

    Raises Unfit for the first field that does not fit. The same `deed_key` again changes nothing and tells the same.
    """
    try:
        return _take_in(desk, by, arrival, deed_key)
    except IntegrityError:  # PostgreSQL: the same form, sent twice at once, was faster; whatever else fails again
        return _take_in(desk, by, arrival, deed_key)


def _take_in(desk: Desk, by: By, arrival: NewVisit, deed_key: str | None) -> TakenIn:
    now = desk.clock.now()
    with desk.writing() as connection:
        if number := done_before(connection, deed_key):
            return told_again(desk, connection, number)
        policy = desk.policy(connection)
        devices = [fit_device(device, policy) for device in arrival.devices]
        if not 1 <= len(devices) <= MOST_DEVICES:
            raise Unfit("device", say("A visit has 1 to {most} devices.", most=MOST_DEVICES))
        ref = add_visit(desk, connection, arrival, policy, now)
        visit = visits.by_ref(connection, ref)
        if visit is None:
            raise RuntimeError("The visit just written cannot be read.")
        numbers = []
        for place, device in enumerate(devices):
            key = deed_key if place == 0 else None
            number, ticket_id = add_ticket(desk, by, connection, visit.id, device, policy, now, key)
            numbers.append(number)
            windows.renew(desk, connection, ticket_id, now)
        tell.taken_in(connection, visit, now, in_person=True)
    link = desk.links.customer(LinkKind.DOCKET, ref, visit.docket_version)
    return TakenIn(ref, tuple(numbers), link)


def fit_device(device: NewDevice, policy: Policy) -> NewDevice:
    """The device as stored. Raises Unfit for a text that does not fit or a kind that the shop has not."""
    kind = device.kind or policy.kinds[0].key
    if policy.kind(kind) is None:
        allowed = ", ".join(known.key for known in policy.kinds)
        raise Unfit("kind", say("There is no kind “{kind}”. Allowed: {allowed}.", kind=kind, allowed=allowed))
    return NewDevice(
        device=line("device", say("The device"), device.device, required=True),
        fault=passage("fault", say("The fault"), device.fault),
        kind=kind,
        needed_by=device.needed_by,
        express=device.express,
        price=device.price,
    )


def add_visit(desk: Desk, connection: Connection, arrival: NewVisit, policy: Policy, now: datetime) -> str:
    """Write the visit with its contacts and tell its public id. Raises Unfit for the first field that does not fit."""
    language = arrival.language or policy.shop.languages[0]
    if language not in policy.shop.languages:
        allowed = ", ".join(policy.shop.languages)
        raise Unfit(
            "language",
            say(
                "The shop does not write “{language}”. Allowed: {allowed}.",
                language=language,
                allowed=allowed,
            ),
        )
    contact = {
        "role": "owner",
        "name": line("name", say("The name"), arrival.name),
        "email": email(arrival.email),
        "phone": phone(arrival.phone, policy.shop.country),
        "phone_is_on_bench": arrival.phone_is_on_bench,
        "may_be_told": True,
        "may_agree": True,
        "may_collect": True,
    }
    ref = new_ref(desk.chooser)
    visit_id = visits.add(connection, {"ref": ref, "language": language, "made_at": now})
    visits.add_contact(connection, contact | {"ref": new_ref(desk.chooser), "visit_id": visit_id})
    if arrival.second.is_somebody:
        second = _second(arrival.second, policy)
        visits.add_contact(connection, second | {"ref": new_ref(desk.chooser), "visit_id": visit_id})
    return ref


def _second(second: Second, policy: Policy) -> dict[str, object]:
    try:
        address, number = email(second.email), phone(second.phone, policy.shop.country)
    except Unfit as unfit:
        raise Unfit(f"second_{unfit.field}", unfit.reasons[0]) from None
    return {
        "role": "second",
        "name": line("second_name", say("The second person’s name"), second.name, required=True),
        "email": address,
        "phone": number,
        "may_be_told": second.may_be_told,
        "may_agree": second.may_agree,
        "may_collect": second.may_collect,
    }


def add_ticket(
    desk: Desk,
    by: By,
    connection: Connection,
    visit_id: int,
    device: NewDevice,
    policy: Policy,
    now: datetime,
    deed_key: str | None,
    announced: bool = False,
) -> tuple[str, int]:
    """Write a ticket in the first stage, or before it where the device is only announced; tell its number and id."""
    events = [Event("announced")] if announced else stages.arrive(Standing(), policy.stages)
    price = None if announced else fit_terms(device.price, policy.shop.currency)
    if price:
        events.append(event_of(price.terms))
    number = tickets.new_number(connection, desk.chooser)
    ticket_id = tickets.add(
        connection,
        {
            "ref": new_ref(desk.chooser),
            "number": number,
            "visit_id": visit_id,
            "kind": device.kind,
            "device": device.device,
            "fault": device.fault,
            "made_at": now,
            "needed_by": device.needed_by,
            "express": device.express,
            "revision": len(events),
            "stage_since": now,
        }
        | standing_columns(Standing(), events, now),
    )
    must_still_hold(desk, connection, policy)
    write_events(connection, by, ticket_id, 0, Change(events), now, deed_key)
    if price:
        keep_at_intake(desk, connection, by, ticket_id, price, policy, now)
    _let_be_found(connection, visit_id, ticket_id, device.device)
    return number, ticket_id


def _let_be_found(connection: Connection, visit_id: int, ticket_id: int, device: str) -> None:
    owner = next(contact for contact in visits.contacts_of(connection, visit_id) if contact.role == "owner")
    search.put(connection, ticket_id, owner.name, owner.phone, device)


def told_again(desk: Desk, connection: Connection, number: str) -> TakenIn:
    """What a form left that was sent before; its key is known to its sender only."""
    ticket = tickets.by_number(connection, number)
    if ticket is None:
        raise Refused(say("This form was sent before, and its repair is no longer here."))
    visit = visits.by_id(connection, ticket.visit_id)
    numbers = tuple(each.number for each in tickets.of_visit(connection, visit.id))
    link = desk.links.customer(LinkKind.DOCKET, visit.ref, visit.docket_version)
    return TakenIn(visit.ref, numbers, link, repeated=True)

"""Devices that come by post: announced by their owner beforehand, and matched when the parcel arrives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import Connection
from sqlalchemy.exc import IntegrityError

from portal.actions import tell
from portal.actions.desk import CUSTOMER, By, Change, Desk, Outcome, change_ticket, done_before, find
from portal.actions.intake import NewDevice, NewVisit, TakenIn, add_ticket, add_visit, fit_device, told_again
from portal.rules import stages, throttle
from portal.rules.intake_record import Item, differences, fit_items
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.secrets import ask_about_secrets
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Event
from portal.rules.text import line, passage
from portal.rules.throttle import TooOften
from portal.rules.tokens import LinkKind
from portal.store import announcements, throttles, visits
from portal.store.tickets import Ticket

WINDOW = timedelta(hours=1)
MOST_BY_ADDRESS = 5
MOST_DECLARED_MINOR = 100_000_000
ASK_THE_SHOP = say(
    "A damaged, wet or swollen battery is not posted, nor one that may be. Do not charge it. Please ask the shop first "
    "what to do; what you typed is still here."
)
PACKING = (
    say("A damaged, wet or swollen battery is not posted: ask the shop first."),
    say("Switch the device off. Wrap it so that nothing in the box can move, with padding on every side."),
    say("Leave out what the repair does not need: cards, cases, discs."),
    say("Put this sheet into the box, on top."),
)


@dataclass(frozen=True)
class Announced:
    """What a customer types before posting a device. `declared_minor` is in the shop's currency's minor units."""

    visit: NewVisit
    device: NewDevice
    return_address: str
    items: Sequence[Item] = ()
    declared_minor: int | None = None
    battery_is_sound: bool = True  # False: damaged, wet or swollen, or nobody knows


def announce(
    desk: Desk,
    announced: Announced,
    address_key: str,
    *,
    confirmed: bool = False,
    deed_key: str | None = None,
) -> TakenIn:
    """Make a ticket for a device that is on its way, and tell its number and link.

    `address_key` says where the form came from (a network address; stored as a keyed hash only). Raises Refused where
    the shop does not take announcements, Unfit for a field that does not fit or a battery that may not be posted,
    AskFirst, TooOften. The same `deed_key` again changes nothing and tells the same.
    """
    now = desk.clock.now()
    _count(desk, address_key, now)
    try:
        return _announce(desk, announced, now, confirmed, deed_key)
    except IntegrityError:  # PostgreSQL: the same form, sent twice at once, was faster; whatever else fails again
        return _announce(desk, announced, now, confirmed, deed_key)


def _announce(desk: Desk, announced: Announced, now: datetime, confirmed: bool, deed_key: str | None) -> TakenIn:
    with desk.writing() as connection:
        policy = desk.policy(connection)
        if not policy.bench.announcing:
            raise Refused(say("This shop does not take devices by post unasked. Please call or write first."))
        if not announced.battery_is_sound:
            raise Unfit("battery", ASK_THE_SHOP)
        if number := done_before(connection, deed_key):
            if announcements.of_ticket(connection, find(connection, number).id) is None:
                raise Refused(say("This form is damaged. Please open the page anew and fill it in again."))
            return told_again(desk, connection, number)
        device = fit_device(announced.device, policy)
        ask_about_secrets(device.fault, confirmed=confirmed)
        return_address = passage("return_address", say("The return address"), announced.return_address, limit=400)
        items = fit_items(announced.items)
        ref = add_visit(desk, connection, announced.visit, policy, now)
        visit = visits.by_ref(connection, ref)
        if visit is None:
            raise RuntimeError("The visit just written cannot be read.")
        if not any(contact.reachable for contact in visits.contacts_of(connection, visit.id)):
            raise Unfit("email", say("Please give an e-mail address or a phone number, so that we can reach you."))
        number, ticket_id = add_ticket(desk, CUSTOMER, connection, visit.id, device, policy, now, deed_key, True)
        announcements.add(connection, ticket_id, items, return_address, _declared(announced.declared_minor))
    return TakenIn(ref, (number,), desk.links.customer(LinkKind.DOCKET, ref, visit.docket_version))


def receive(
    desk: Desk,
    by: By,
    number: str,
    arrived: Sequence[Item],
    *,
    parcel_damage: str = "",
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """An announced parcel has come: its ticket enters the first stage, and what was in it is written down.

    Raises Refused for a device that is here already or was not announced, Unfit for items that do not fit.
    """
    items = fit_items(arrived)
    damage = line("parcel_damage", say("The damage to the parcel"), parcel_damage, limit=400)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        known = announcements.of_ticket(connection, ticket.id)
        if known is None:
            raise Refused(say("This device was not announced. Take it in over the counter."))
        events = stages.arrive(ticket.standing, policy.stages)
        differs = str(len(differences(known.items, items)))
        found = Event("received_announced", {"differences": differs, "damaged": str(bool(damage)).lower()})

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            announcements.receive(connection, ticket.id, items, damage, now)

        return Change([*events, found], write=write)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        tell.taken_in(connection, visits.by_id(connection, ticket.visit_id), now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def compared(connection: Connection, ticket_id: int) -> list[Sentence]:
    """In what the parcel differs from its announcement; nothing where it was not announced or has not come."""
    known = announcements.of_ticket(connection, ticket_id)
    return differences(known.items, known.arrived) if known and known.received_at else []


def _declared(minor: int | None) -> int | None:
    if minor is not None and not 0 <= minor <= MOST_DECLARED_MINOR:
        raise Unfit(
            "declared", say("The declared value is negative or too high. Leave it empty if you do not know it.")
        )
    return minor


def _count(desk: Desk, address_key: str, now: datetime) -> None:
    """Count the try in a transaction of its own, so that it stays counted whatever comes after."""
    key = throttle.key(desk.links.secret, "announcement from", address_key)
    with desk.writing() as connection:
        verdict = throttles.hit(connection, key, now, MOST_BY_ADDRESS, WINDOW)
    if verdict.retry_at:
        raise TooOften(verdict.retry_at)

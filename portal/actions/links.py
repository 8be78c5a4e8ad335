"""The customer's links: who stands behind a token, renewing a link so that the old one dies, sending it again."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import Connection

from portal.actions import staying, tell
from portal.actions.desk import By, Change, Desk, NotFound, Outcome, change_ticket
from portal.rules import contact as addresses
from portal.rules import throttle
from portal.rules.numbers import parse_number
from portal.rules.policy import Policy
from portal.rules.refusals import Unfit, needs
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.throttle import TooOften
from portal.rules.tokens import LinkKind, NotAToken, Token, read_token
from portal.store import questions, throttles, tickets, visits
from portal.store.ledger import Line
from portal.store.tickets import Ticket
from portal.store.visits import Contact, Visit

WINDOW = timedelta(hours=1)
MOST_BY_ADDRESS = 10  # a family or an office may share one address
MOST_BY_NUMBER = 4  # nobody's mailbox is filled by a stranger who read a number


class Renewed(LookupError):
    """The link was right once and has been renewed since; whoever asks is told to use the newer one (410)."""

    def __init__(self) -> None:
        super().__init__("This link has been renewed.")
        self.reason = say("This link has been replaced by a newer one. Use the newer one, or ask the shop for it.")


class Over(LookupError):
    """The devices have left, their warranty has ended, and nothing is open: the page is no more (410)."""

    def __init__(self) -> None:
        super().__init__("This link has ended.")
        self.reason = say(
            "This page has ended: the device left the shop a while ago, and its warranty is over. "
            "If you still need something, ring the shop or write to it."
        )


class Reader(NamedTuple):
    """Who reads a customer's page: the visit, and the contact where the link is one person's own (else None)."""

    visit: Visit
    contact: Contact | None
    question: str = ""  # the public id of the question that the link is for, where it is for one


class Reading(NamedTuple):
    """A reader, and what was read in the same statement.

    That is the number of the policy's newest revision, and by the docket's link whether its owner can be sent no other.
    """

    reader: Reader
    policy_revision: int
    owner_is_alone: bool = False


def resolve(desk: Desk, connection: Connection, token_text: str) -> Reader:
    """The visit (and contact) behind a token, in one statement.

    Raises NotFound for a forged or misspelt one, Renewed for one that has been replaced, Over for one whose time is
    over or whose visit has been erased.
    """
    return resolve_page(desk, connection, token_text).reader


def resolve_page(desk: Desk, connection: Connection, token_text: str) -> Reading:
    """The same, with what else a customer's page must know before it reads anything more."""
    try:
        token = read_token(token_text)
    except NotAToken:
        raise _unknown() from None
    found = _behind(connection, token)
    if found is None:
        erased = token.kind is not LinkKind.QUESTION and desk.links.ours(token)
        raise Over if erased else _unknown()
    reading, version = found
    if desk.links.current(token, version):
        if _is_over(desk, connection, reading.reader.visit):
            raise Over
        return reading
    if desk.links.outdated(token, version):
        raise Renewed
    raise _unknown()


def renew_docket(desk: Desk, by: By, number: str, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """Give the visit's docket a new link; the printed one dies. The contacts' own links stay as they are."""

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        visits.renew_docket(connection, ticket.visit_id)
        visit = visits.by_id(connection, ticket.visit_id)
        desk.ledger.note(Line(desk.clock.now(), "docket", visit.ref, visit.docket_version))
        return Change([Event("link_renewed", {"link": "docket"})], audience="bench")

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def renew_contact(
    desk: Desk,
    by: By,
    number: str,
    contact_ref: str,
    *,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Give one contact of the visit a new link and send it to them; the old one dies, every other stays as it is.

    Raises NotFound when the ticket's visit has no such contact.
    """

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        contact = _contact(connection, ticket, contact_ref)
        visits.renew_contact(connection, contact.id)
        desk.ledger.note(Line(desk.clock.now(), "contact", contact.ref, contact.link_version + 1))
        return Change([Event("link_renewed", {"link": contact.role})], audience="bench")

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        contact = _contact(connection, ticket, contact_ref)
        visit = visits.by_id(connection, ticket.visit_id)
        tell.link_again(connection, visit, contact, tell.cause_of(ticket), now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def send_link_again(desk: Desk, number_typed: str, email_or_phone_typed: str, address_key: str) -> None:
    """Send a lost link to the contact on file, if the number and their e-mail address or phone belong together.

    Tells nothing of whether they do: it returns alike. `address_key` says where the asking came from (a network
    address; it is stored as a keyed hash only). Raises Unfit (fields "number", "contact") for what cannot be a number
    or an address at all, and TooOften.
    """
    now = desk.clock.now()
    number = parse_number(number_typed)
    with desk.reading() as connection:
        country = desk.policy(connection).shop.country
    asked_by = _address(email_or_phone_typed, country)
    _count(desk, number, address_key, now)
    with desk.writing() as connection:
        ticket = tickets.by_number(connection, number)
        if ticket is None:
            return
        visit = visits.by_id(connection, ticket.visit_id)
        for contact in visits.contacts_of(connection, visit.id):
            if asked_by in (contact.email.casefold(), contact.phone):
                tell.link_again(connection, visit, contact, f"contact {contact.ref} asked {now.isoformat()}", now)


def _is_over(desk: Desk, connection: Connection, visit: Visit) -> bool:
    """Whether a page has ended. What may keep it is read only once its time is over."""
    now = desk.clock.now()
    if visit.link_ends_at is None or now < visit.link_ends_at:
        return False
    return not staying.page_stays(connection, visit.id, desk.policy(connection), now)


def _behind(connection: Connection, token: Token) -> tuple[Reading, int] | None:
    if token.kind is LinkKind.DOCKET and (docket := visits.behind_docket(connection, token.ref)):
        visit, policy_revision, owner_is_alone = docket
        return Reading(Reader(visit, None), policy_revision, owner_is_alone), visit.docket_version
    if token.kind is LinkKind.CONTACT and (own := visits.behind_contact(connection, token.ref)):
        visit, contact, policy_revision = own
        return Reading(Reader(visit, contact), policy_revision), contact.link_version
    if token.kind is LinkKind.QUESTION and (asked := questions.reader(connection, token.ref)):
        contact_ref, question_ref = asked
        if own := visits.behind_contact(connection, contact_ref):
            visit, contact, policy_revision = own
            return Reading(Reader(visit, contact, question_ref), policy_revision), contact.link_version
    return None


def _unknown() -> NotFound:
    return NotFound(say("This link leads nowhere. Please scan the code on your docket again, or ask the shop."))


def _contact(connection: Connection, ticket: Ticket, ref: str) -> Contact:
    for contact in visits.contacts_of(connection, ticket.visit_id):
        if contact.ref == ref:
            return contact
    raise NotFound(say("This repair has no such contact."))


def _address(typed: str, country: str) -> str:
    """What was typed, in the form in which contacts are stored; e-mail addresses in lower case."""
    try:
        found = addresses.email(typed).casefold() if "@" in typed else addresses.phone(typed, country)
    except Unfit as unfit:
        raise Unfit("contact", unfit.reasons[0]) from None
    if not found:
        raise needs("contact", say("The e-mail address or phone number"))
    return found


def _count(desk: Desk, number: str, address_key: str, now: datetime) -> None:
    """Count the try in a transaction of its own, so that it stays counted whatever comes after."""
    tries = (("link again from", address_key, MOST_BY_ADDRESS), ("link again for", number, MOST_BY_NUMBER))
    with desk.writing() as connection:
        verdicts = [
            throttles.hit(connection, throttle.key(desk.links.secret, purpose, subject), now, most, WINDOW)
            for purpose, subject, most in tries
        ]
    waits = [verdict.retry_at for verdict in verdicts if verdict.retry_at]
    if waits:
        raise TooOften(max(waits))

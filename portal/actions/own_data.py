"""What a person does about their own data on their page, once a code to the contact on file has proven them.

Seeing and taking along, correcting, a statement of their own, erasing, restricting, objecting (GDPR Art. 15 to 21).
The code opens the page for some minutes by a pass in its forms: no cookie, nothing kept but that the code was used.
"""

from __future__ import annotations

import hashlib
import hmac
from datetime import datetime

from sqlalchemy import Connection

from portal.actions import codes, erasure, rights, tell
from portal.actions.contacts import ContactTyped, change_contact
from portal.actions.desk import CUSTOMER, Change, Desk, Outcome, change_ticket
from portal.actions.erasure import Erased
from portal.actions.rights import Asked
from portal.rules.policy import Policy
from portal.rules.refusals import Unfit
from portal.rules.rights import Right, Through
from portal.rules.secrets import ask_about_secrets
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import passage
from portal.store import rights as rows
from portal.store import tickets, visits
from portal.store.photo_files import PhotoFiles
from portal.store.tickets import Ticket
from portal.store.visits import Visit

ON_THE_PAGE = "Carried out on the page, after a code."  # what the keeper reads of it


def send_code(desk: Desk, visit: Visit) -> None:
    """Send a six-digit code to the owner on file. Raises Refused where nobody can be sent one."""
    now = desk.clock.now()
    with desk.writing() as connection:
        made = codes.make(desk, connection, rows.CODES, visit.id, now)
        if not tell.own_data_code(connection, visit, made, now):
            raise codes.nobody()


def prove(desk: Desk, visit: Visit, typed: str) -> str:
    """The pass that a code opens the page with. The code is used up. Raises Unfit (field "code")."""
    challenge = codes.try_code(desk, rows.CODES, visit.id, typed)
    with desk.writing() as connection:
        codes.use(connection, rows.CODES, challenge.id, desk.clock.now())
    return _pass(desk, challenge.ref)


def must_be_proven(desk: Desk, visit: Visit, passed: str) -> None:
    """Raise Unfit (field "code") unless the pass is that of the newest code, which was used within minutes."""
    now = desk.clock.now()
    with desk.reading() as connection:
        newest = rows.CODES.newest(connection, visit.id)
    fits = newest is not None and hmac.compare_digest(passed.encode(), _pass(desk, newest.ref).encode())
    if newest is None or not fits or newest.used_at is None or now - newest.used_at > codes.LASTS:
        raise Unfit("code", say("The time of your code is over. Please ask for another one; nothing was changed."))


def taken_along(desk: Desk, number: str) -> None:
    """Write down that a person took their data along, and tell them, should it not have been them."""

    def decide(_connection: Connection, _ticket: Ticket, _policy: Policy) -> Change:
        return Change([Event("data_done", {"right": Right.ACCESS.value})], audience="bench")

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        kept = rights.keep_done(desk, connection, ticket, Right.ACCESS, ON_THE_PAGE, now, None)
        tell.request_told(connection, kept, "done", now)

    change_ticket(desk, CUSTOMER, number, decide, then=then)


def correct(desk: Desk, number: str, name: str, email: str, phone: str, *, deed_key: str | None = None) -> Outcome:
    """Correct the owner's own contact. A new address gets a link of its own, and the one to the old address dies.

    Raises Unfit, Refused where nothing would change.
    """
    with desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        contacts = visits.contacts_of(connection, ticket.visit_id) if ticket else []
    on_bench = any(each.phone_is_on_bench for each in contacts if each.role == "owner")

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        rights.keep_done(desk, connection, ticket, Right.RECTIFICATION, ON_THE_PAGE, now, deed_key)

    typed = ContactTyped(name, email, phone, phone_is_on_bench=on_bench)
    return change_contact(desk, CUSTOMER, number, "owner", typed, deed_key=deed_key, then=then)


def state(desk: Desk, number: str, words: str, *, confirmed: bool = False, deed_key: str | None = None) -> Outcome:
    """Add the owner's own statement to the record, where they see it otherwise (Art. 16, second sentence).

    Raises Unfit (field "words"), AskFirst.
    """
    text = passage("words", say("Your statement"), words, limit=2000, required=True)
    ask_about_secrets(text, confirmed=confirmed)

    def decide(_connection: Connection, _ticket: Ticket, _policy: Policy) -> Change:
        return Change([Event("stated")], text=text)

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        rights.keep_done(desk, connection, ticket, Right.RECTIFICATION, ON_THE_PAGE, now, deed_key)

    return change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key, then=then)


def erase(desk: Desk, files: PhotoFiles, number: str, *, deed_key: str | None = None) -> Erased | None:
    """Erase what can go at once. None while a device is here: the keeper answers, once it has left, or before."""
    with desk.reading() as connection:
        ticket = tickets.by_number(connection, number)
        here = ticket is not None and any(each.ending is None for each in tickets.of_visit(connection, ticket.visit_id))
    if here:
        rights.enter(desk, CUSTOMER, Asked(Right.ERASURE, Through.PAGE, number=number), deed_key=deed_key)
        return None

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        rights.keep_done(desk, connection, ticket, Right.ERASURE, ON_THE_PAGE, now, deed_key)

    return erasure.erase(desk, files, CUSTOMER, number, ON_THE_PAGE, deed_key=deed_key, then=then)


def restrict(desk: Desk, number: str, *, deed_key: str | None = None) -> Outcome:
    """Have the data only stored from now on, until the owner or the keeper says otherwise (Art. 18)."""

    def decide(_connection: Connection, _ticket: Ticket, _policy: Policy) -> Change:
        return Change([Event("data_done", {"right": Right.RESTRICTION.value})], audience="bench")

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        kept = rights.keep_done(desk, connection, ticket, Right.RESTRICTION, ON_THE_PAGE, now, deed_key)
        rights.take_effect(desk, connection, ticket.visit_id, Right.RESTRICTION, CUSTOMER, now)
        tell.request_told(connection, kept, "done", now)

    return change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key, then=then)


def use_again(desk: Desk, number: str, *, deed_key: str | None = None) -> Outcome:
    """Have the data used again, which was only stored. Raises Refused where no restriction stands."""

    def decide(_connection: Connection, _ticket: Ticket, _policy: Policy) -> Change:
        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            rights.end_at_owners_wish(connection, ticket.visit_id, CUSTOMER, now)

        return Change([Event("data_lifted", {"right": Right.RESTRICTION.value})], audience="bench", write=write)

    return change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key)


def objects(desk: Desk, number: str, words: str, *, deed_key: str | None = None) -> str:
    """Object (Art. 21): reminders and news end at once; on the rest, the proof of what was agreed, the keeper answers.

    Raises Unfit (field "words").
    """
    asked = Asked(Right.OBJECTION, Through.PAGE, number=number, words=words)
    return rights.enter(desk, CUSTOMER, asked, at_once=True, deed_key=deed_key)


def _pass(desk: Desk, challenge_ref: str) -> str:
    message = f"benchwindow own data|{challenge_ref}".encode()
    return hmac.new(desk.links.secret, message, hashlib.sha256).hexdigest()

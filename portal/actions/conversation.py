"""Words between a customer and the shop: written on their page, answered at the bench, or told on the telephone."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection

from portal.actions import photos, tell
from portal.actions.desk import CUSTOMER, By, Change, Desk, Outcome, change_ticket, done_before, find
from portal.pictures.limits import Clean
from portal.pictures.worker import clean_in_child
from portal.rules import conversation as rules
from portal.rules import throttle
from portal.rules.conversation import Writer
from portal.rules.policy import Policy
from portal.rules.refusals import Refused, Unfit
from portal.rules.secrets import ask_about_secrets
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import passage
from portal.rules.throttle import TooOften
from portal.store import calls, journal, throttles, tickets, visits
from portal.store import photos as photo_rows
from portal.store.photo_files import PhotoFiles
from portal.store.tickets import Ticket


def write(
    desk: Desk,
    files: PhotoFiles,
    number: str,
    writer: Writer,
    text: str,
    *,
    photo: bytes = b"",
    confirmed: bool = False,
    deed_key: str | None = None,
) -> Outcome:
    """The customer writes on their page, with a photo or without: both are kept, or neither. The bench sees it.

    Raises Unfit for words that are missing or too many and for what is no picture, AskFirst for what may be a
    passcode, Refused once the device has left or too many photos were sent, TooOften; NoRoom and StoreAway as
    `photos.add` does.
    """
    words = rules.written(text)
    ask_about_secrets(words, confirmed=confirmed)
    with desk.reading() as connection:
        ticket = find(connection, number)
        if done_before(connection, deed_key):
            return Outcome(ticket.number, ticket.revision, repeated=True)
        _may_write(connection, ticket, with_photo=bool(photo))
    _count_try(desk, ticket)
    if not photo:
        return _write(desk, number, writer, words, deed_key)
    cleaned = clean_in_child(photo)
    return photos.with_files(
        desk, files, cleaned, lambda ref: _write(desk, number, writer, words, deed_key, ref, cleaned)
    )


def answer(
    desk: Desk,
    by: By,
    number: str,
    text: str,
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Write to the customer. Where they had written, it answers that, and they are told whatever news they want.

    What they wrote counts as read. Raises Unfit, AskFirst, Refused and Stale as `notes.note` does.
    """
    words = passage("text", say("The answer"), text, required=True)
    ask_about_secrets(words, confirmed=confirmed)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        asked = _to_answer(connection, ticket)
        event = Event("noted", {"answers": str(asked)} if asked else {})
        return Change([event], text=words, columns={"unread_since": None})

    def then(connection: Connection, ticket: Ticket, now: datetime) -> None:
        told = tell.answered if _to_answer(connection, ticket) else tell.noted
        told(connection, ticket, now)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=then)


def read(desk: Desk, by: By, number: str, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """What the customer wrote was read and needs no answer. Raises Refused where nothing is unread."""

    def decide(_connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        if ticket.unread_since is None:
            raise Refused(say("Nothing of the customer’s waits to be read here."))
        return Change([Event("words_read")], audience="bench", columns={"unread_since": None})

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def said(
    desk: Desk,
    by: By,
    number: str,
    how: str,
    text: str,
    *,
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Enter as theirs what the customer said elsewhere; they read it on their page.

    Raises Unfit (fields "how", "text") and AskFirst for what may be a passcode.
    """
    event = Event("said", {"how": rules.how(how).value})
    words = passage("text", say("What the customer said"), text, required=True)
    ask_about_secrets(words, confirmed=confirmed)

    def decide(_connection: Connection, _ticket: Ticket, _policy: Policy) -> Change:
        return Change([event], text=words)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def rang(
    desk: Desk,
    by: By,
    number: str,
    outcome: str,
    text: str = "",
    *,
    contact: str = "owner",
    confirmed: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Note a call with the contact of this role; the words stay with the bench.

    Whoever was spoken to need not be rung any more for what was due. Raises Unfit (fields "outcome", "contact",
    "text") and AskFirst for what may be a passcode.
    """
    came = rules.outcome(outcome)
    words = passage("text", say("What was said"), text)
    ask_about_secrets(words, confirmed=confirmed)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        whom = _contact_of_role(connection, ticket, contact)

        def close(connection: Connection, _ticket: Ticket, now: datetime) -> None:
            if came is not rules.Outcome.NOT_REACHED:
                calls.close_all_of(connection, whom, now)

        event = Event("rang", {"outcome": came.value, "contact": contact})
        return Change([event], text=words, audience="bench", write=close)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def count_writing(desk: Desk, number: str, deed_key: str | None) -> None:
    """Count something else that a customer writes about a device, but not a form sent twice. Raises TooOften."""
    with desk.reading() as connection:
        ticket = find(connection, number)
        if done_before(connection, deed_key):
            return
    _count_try(desk, ticket)


def _write(
    desk: Desk,
    number: str,
    writer: Writer,
    words: str,
    deed_key: str | None,
    ref: str = "",
    cleaned: Clean | None = None,
) -> Outcome:
    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        _may_write(connection, ticket, with_photo=cleaned is not None)

        def write_rows(connection: Connection, ticket: Ticket, now: datetime) -> None:
            tickets.mark_unread(connection, ticket.id, now)
            if cleaned:
                values = photos.row(ref, ticket, cleaned, now)
                photo_rows.add(connection, values | {"moment": "other", "audience": "customer", "by_customer": True})

        events = [Event("wrote", {"writer": writer.value})]
        if cleaned:
            events.append(Event("photo_sent", {"photo": ref}))
        return Change(events, text=words, write=write_rows)

    return change_ticket(desk, CUSTOMER, number, decide, deed_key=deed_key)


def _may_write(connection: Connection, ticket: Ticket, *, with_photo: bool) -> None:
    if ticket.ending:
        raise Refused(say("This device has left the shop. Please ring, or write to the shop by e-mail."))
    if with_photo:
        sent = [photo for photo in photo_rows.of_ticket(connection, ticket.id) if photo.by_customer]
        rules.room_for_photo(len(sent))


def _count_try(desk: Desk, ticket: Ticket) -> None:
    """Count a writing in a transaction of its own, before the work that a photo makes. Raises TooOften."""
    key = throttle.key(desk.links.secret, "writes about", ticket.ref)
    with desk.writing() as connection:
        verdict = throttles.hit(connection, key, desk.clock.now(), rules.MOST_FREELY, rules.WINDOW)
    if verdict.retry_at:
        raise TooOften(verdict.retry_at)


def _to_answer(connection: Connection, ticket: Ticket) -> int | None:
    return rules.to_answer((entry.entry, entry.event) for entry in journal.entries(connection, ticket.id))


def _contact_of_role(connection: Connection, ticket: Ticket, role: str) -> str:
    """The ref of a contact. Raises Unfit."""
    for contact in visits.contacts_of(connection, ticket.visit_id):
        if contact.role == role:
            return contact.ref
    raise Unfit("contact", say("Choose with whom you spoke."))

"""Which messages a deed puts into the outbox: events, causes and opaque references, never words or addresses.

The cause names the deed by ticket and journal entry, so that the same deed never makes a second message. What is not
urgent waits for the day, and the quiet time is added to its life.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from sqlalchemy import Connection

from notifications import outbox
from notifications.outbox import LIFE, Message
from portal.actions.desk import policy_in_force
from portal.rules.collection import Waiting
from portal.rules.messages import Channel, MessageKind, Pushed, Wants, kind_of
from portal.rules.policy import Policy
from portal.rules.quiet import may_go_from
from portal.rules.stages import Ending
from portal.store import people, tickets, visits
from portal.store.questions import Kept
from portal.store.rights import Kept as Request
from portal.store.tickets import Ticket
from portal.store.visits import Contact, Visit

A_DAY = timedelta(days=1)  # to try in, where a message's life ends on days on which nothing goes out


def taken_in(connection: Connection, visit: Visit, now: datetime, *, in_person: bool = False) -> None:
    """The devices are here, and this is the link. Who handed them in `in_person` gets it at any hour."""
    for contact in told(connection, visit.id):
        cause = f"visit {visit.ref} taken in"
        _put(connection, "taken_in", cause, contact, visit.ref, {"urgent": True} if in_person else {}, now)


def stage_reached(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The device has come to a stage. Whether customers are told of it is for the caller, who knows the policy."""
    _about(connection, ticket, "stage_reached", {"stage": ticket.stage}, now)


def noted(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The ticket's newest entry is for its customer to read: a note, a photo, or one of them put right.

    What is written within some minutes makes one message.
    """
    _about(connection, ticket, "noted", {"entry": ticket.revision}, now, gathers=True)


def answered(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The ticket's newest entry answers what its customer wrote."""
    _about(connection, ticket, "answered", {"entry": ticket.revision}, now, gathers=True)


def ready(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The device has come to the last stage: how it may be had back, and with which code."""
    _about(connection, ticket, "ready", {}, now)


def window_moved(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """It takes longer than the customer reckons with, as the ticket's newest entry says."""
    _about(connection, ticket, "window_moved", {"entry": ticket.revision}, now)


def ready_undone(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The device is not ready after all, though its owner has chosen how to have it back."""
    _about(connection, ticket, "ready_undone", {}, now)


def ended(connection: Connection, ticket: Ticket, now: datetime, *, without_code: bool = False) -> None:
    """The device has left the shop. What was still to be said about it is no longer true.

    Where nobody showed a code, the owner hears of it whatever else they want to hear.
    """
    outbox.withdraw(connection, now, "the device has left the shop", reference=ticket.ref)
    if not without_code:
        event = "posted" if ticket.ending is Ending.POSTED else "ended"
        _about(connection, ticket, event, {"ending": ticket.ending}, now)
        return
    cause = cause_of(ticket)
    for contact in visits.contacts_of(connection, ticket.visit_id):
        if contact.may_be_told:
            _put(connection, "handed_over_without_code", cause, contact, ticket.ref, {}, now)


def reopened(connection: Connection, ticket: Ticket, ended_entry: int, now: datetime, *, to_all: bool) -> None:
    """The end of a ticket, at this journal entry, was a mistake: whoever was told of it hears so, or everybody.

    Who was still to hear that the device is ready, which the end had taken back, hears that instead.
    """
    cause = f"ticket {ticket.ref} entry {ended_entry}"
    outbox.withdraw(connection, now, "the handover was undone", cause=cause)
    heard, again = outbox.handed_on(connection, cause), cause_of(ticket)
    unsaid = {
        trace.recipient
        for trace in outbox.about(connection, [ticket.ref])
        if trace.event == "ready" and trace.state == "withdrawn" and trace.made_at >= ticket.stage_since
    }
    for contact in visits.contacts_of(connection, ticket.visit_id):
        if contact.ref in heard or (to_all and contact.may_be_told and contact.wants != Wants.NONE):
            _put(connection, "reopened", again, contact, ticket.ref, {}, now)
        elif contact.ref in unsaid:
            _put(connection, "ready", again, contact, ticket.ref, {}, now)


def parcel_came_back(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The parcel to the owner is here again: they choose anew."""
    outbox.withdraw(connection, now, "the parcel came back", reference=ticket.ref)
    _about(connection, ticket, "parcel_came_back", {}, now)


def uncollected(connection: Connection, ticket: Ticket, waiting: Waiting, place: int, now: datetime) -> None:
    """The device is ready and was not collected: the reminder at this place of the series."""
    chosen = waiting.chosen_day.isoformat() if waiting.chosen_day else None
    facts = {"place": place, "ready": waiting.ready_at.isoformat(), "chosen": chosen}
    cause = f"ticket {ticket.ref} ready {waiting.ready_at.isoformat()} {chosen or ''} reminder {place}"
    for contact in told(connection, ticket.visit_id):
        _put(connection, "uncollected", cause, contact, ticket.ref, facts, now)


def question_put(connection: Connection, ticket: Ticket, kept: Kept, now: datetime, *, anew: bool = False) -> None:
    """Something would cost money: everybody who may agree is asked, or asked `anew` since it was changed."""
    facts = {"question": kept.ref, "version": kept.question.version, "anew": anew}
    cause = f"question {kept.ref} version {kept.question.version}"
    _ask(connection, ticket, "question_put", cause, facts, now)


def question_reminder(connection: Connection, kept: Kept, now: datetime) -> None:
    """The question has not been answered yet."""
    ticket = tickets.by_id(connection, kept.ticket_id)
    if ticket is None:
        return
    facts = {"question": kept.ref, "version": kept.question.version}
    cause = f"question {kept.ref} version {kept.question.version} again"
    _ask(connection, ticket, "question_reminder", cause, facts, now)


def question_answered(connection: Connection, ticket: Ticket, kept: Kept, now: datetime) -> None:
    """An answer was given: a receipt to everybody who may agree."""
    _withdraw_question(connection, kept, now)
    facts = {"question": kept.ref, "state": kept.question.state.value}
    cause = cause_of(ticket)
    _ask(connection, ticket, "question_answered", cause, facts, now)


def question_lapsed(connection: Connection, ticket: Ticket, kept: Kept, now: datetime) -> None:
    """Nobody answered in time: it is not done, and costs nothing."""
    _withdraw_question(connection, kept, now)
    cause = f"question {kept.ref} lapsed"
    _ask(connection, ticket, "question_lapsed", cause, {"question": kept.ref}, now)


def question_withdrawn(connection: Connection, ticket: Ticket, kept: Kept, now: datetime) -> None:
    """The shop asks no more. Whoever had been asked is told."""
    _withdraw_question(connection, kept, now)
    if kept.put_at is None:
        return
    _ask(connection, ticket, "question_withdrawn", f"question {kept.ref} withdrawn", {"question": kept.ref}, now)


def cancelled(
    connection: Connection,
    ticket: Ticket,
    refs: Sequence[str],
    now: datetime,
    *,
    undone: bool = False,
    on_page: bool = False,
    overruled: bool = False,
) -> None:
    """What was agreed to was cancelled, and what follows; or that was a mistake. To everybody who may agree.

    `on_page`: by the customer's own press of the button just now, of which the message is the acknowledgement, also
    for those who want to hear nothing. `overruled`: what they pressed holds all the same, which was no mistake of ours.
    """
    facts: dict[str, object] = {"questions": list(refs), "undone": undone}
    if on_page:
        facts["declared_at"] = now.isoformat()
    if overruled:
        facts["overruled"] = True
    _ask(connection, ticket, "cancelled", cause_of(ticket), facts, now, to_all=on_page)


def refund_overdue(connection: Connection, ticket: Ticket, due_on: date, now: datetime) -> None:
    """The day has passed by which something was to be given back: the keepers hear of it."""
    cause = f"refund {ticket.ref} due {due_on.isoformat()}"
    keepers(connection, "refund_overdue", cause, ticket.ref, {"due_on": due_on.isoformat()}, now)


def price_agreed(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """What was agreed about the price, in writing, to everybody who may agree."""
    _ask(connection, ticket, "price_agreed", cause_of(ticket), {}, now)


def question_code(connection: Connection, kept: Kept, challenge: str, now: datetime) -> bool:
    """A code for whoever answers from the docket's link, to the contact on file, whatever else they want to hear.

    False where there is none who may agree and can be reached.
    """
    ticket = tickets.by_id(connection, kept.ticket_id)
    if ticket is None:
        return False
    asked = [contact for contact in visits.contacts_of(connection, ticket.visit_id) if contact.may_agree]
    return _code(connection, "question_code", challenge, asked, ticket.ref, {"question": kept.ref}, now)


def own_data_code(connection: Connection, visit: Visit, challenge: str, now: datetime) -> bool:
    """A code for whoever asks for their data, to the owner on file, whatever else they want to hear. False for none."""
    owners = [contact for contact in visits.contacts_of(connection, visit.id) if contact.role == "owner"]
    return _code(connection, "own_data_code", challenge, owners, visit.ref, {}, now)


def code_sent_at(connection: Connection, challenge: str) -> datetime | None:
    """When the message with this code went out, or None while it has not."""
    return outbox.sent_at(connection, _cause_of_code(challenge))


def _code(
    connection: Connection,
    event: str,
    challenge: str,
    asked: Sequence[Contact],
    reference: str,
    facts: Mapping[str, Any],
    now: datetime,
) -> bool:
    """Send a code to the first of those asked whom it proves to be who they are. False where there is none."""
    policy = policy_in_force(connection)
    for contact in asked:
        if proving_channels(contact, policy):
            with_code = {**facts, "challenge": challenge}
            _put(connection, event, _cause_of_code(challenge), contact, reference, with_code, now)
            return True
    return False


def _cause_of_code(challenge: str) -> str:
    return f"code {challenge}"


def request_told(connection: Connection, kept: Request, what: str, now: datetime) -> None:
    """What became of a request about personal data, to who made it, whatever else they want to hear."""
    if kept.visit_id is None:
        return
    visit, facts = visits.by_id(connection, kept.visit_id), {"request": kept.ref, "what": what}
    for contact in visits.contacts_of(connection, visit.id):
        if contact.role == kept.whose:
            _put(connection, "request_told", cause_of_request(kept), contact, visit.ref, facts, now)


def cause_of_request(kept: Request) -> str:
    """What a message is caused by that tells what has just become of a request."""
    return f"request {kept.ref} revision {kept.revision}"


def request_waits(connection: Connection, kept: Request, now: datetime) -> None:
    """A request about personal data must be answered: the keepers hear of it."""
    ticket = tickets.by_number(connection, kept.number)
    if ticket is None:  # they find it on the page of today
        return
    cause, facts = f"request {kept.ref} revision {kept.revision} waits", {"request": kept.ref}
    keepers(connection, "request_waits", cause, ticket.ref, facts, now)


def sign_off_wanted(connection: Connection, ticket: Ticket, kept: Kept, now: datetime) -> None:
    """The keeper looks first."""
    cause = f"question {kept.ref} version {kept.question.version} sign-off {ticket.revision}"
    facts = {"question": kept.ref, "version": kept.question.version}
    keepers(connection, "sign_off_wanted", cause, ticket.ref, facts, now)


def _ask(
    connection: Connection,
    ticket: Ticket,
    event: str,
    cause: str,
    facts: Mapping[str, Any],
    now: datetime,
    *,
    to_all: bool = False,
) -> None:
    """Tell everybody who may agree to costs, and wants to hear something at all; or `to_all` who may agree."""
    for contact in visits.contacts_of(connection, ticket.visit_id):
        if contact.may_agree and (to_all or contact.wants != Wants.NONE):
            _put(connection, event, cause, contact, ticket.ref, facts, now)


def _withdraw_question(connection: Connection, kept: Kept, now: datetime) -> None:
    for version in range(1, kept.question.version + 1):
        for cause in (f"question {kept.ref} version {version}", f"question {kept.ref} version {version} again"):
            outbox.withdraw(connection, now, "the question waits no more", cause=cause)


def link_again(connection: Connection, visit: Visit, contact: Contact, cause: str, now: datetime) -> None:
    """The contact's own link, asked for or renewed. Sent even to those who are told nothing else: they asked."""
    _put(connection, "link_again", cause, contact, visit.ref, {}, now)


def complained(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The customer is not satisfied: the keeper hears of it."""
    keepers(connection, "complained", cause_of(ticket), ticket.ref, {"entry": ticket.revision}, now)


def complaint_answered(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The complaint has an answer, which is in the newest entries."""
    _about(connection, ticket, "complaint_answered", {}, now)


def fault_compared(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """Somebody has looked whether the device came back with the same fault."""
    _about(connection, ticket, "fault_compared", {}, now)


def let_through(connection: Connection, ticket: Ticket, now: datetime) -> None:
    """The bench let a test sheet through: the keeper hears of it."""
    cause = cause_of(ticket)
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
    """The contacts of a visit who are told things and want to hear them."""
    return [
        contact
        for contact in visits.contacts_of(connection, visit_id)
        if contact.may_be_told and contact.wants != Wants.NONE
    ]


def channels(contact: Contact, policy: Policy) -> tuple[str, ...]:
    """The channels a contact can be reached by, in the order that they chose, or else the shop's."""
    order = contact.channels if contact.channels is not None else policy.messages.channels
    return tuple(str(channel) for channel in order if address(contact, channel))


def proving_channels(contact: Contact, policy: Policy) -> tuple[str, ...]:
    """The same, where what is sent proves who they are: a browser that somebody let show notices is no address."""
    return tuple(channel for channel in channels(contact, policy) if channel != Channel.PUSH)


def address(contact: Contact, channel: str) -> str:
    """Where a channel reaches a contact, or "". A phone that lies on the bench rings there."""
    if channel == Channel.MAIL:
        return contact.email
    if channel in (Channel.SMS, Channel.RING) and not contact.phone_is_on_bench:
        return contact.phone
    if channel == Channel.PUSH and contact.has_push:
        return contact.ref
    return ""


def cause_of(ticket: Ticket) -> str:
    """What a message is caused by that tells of a ticket's newest entry."""
    return f"ticket {ticket.ref} entry {ticket.revision}"


def _about(
    connection: Connection,
    ticket: Ticket,
    event: str,
    facts: Mapping[str, Any],
    now: datetime,
    *,
    gathers: bool = False,
) -> None:
    """Tell a ticket's contacts, by its newest entry."""
    cause = cause_of(ticket)
    for contact in told(connection, ticket.visit_id):
        _put(connection, event, cause, contact, ticket.ref, facts, now, gathers=gathers)


def _put(
    connection: Connection,
    event: str,
    cause: str,
    contact: Contact,
    reference: str,
    facts: Mapping[str, Any],
    now: datetime,
    *,
    gathers: bool = False,
) -> None:
    """Write one contact's message, to go out when it may. The fact `urgent` is for one that may at any hour."""
    policy = policy_in_force(connection)
    what = kind_of(event)
    ways = [way for way in channels(contact, policy) if _suits(way, what)]
    if not ways:
        return
    urgent = what.urgent or bool(facts.get("urgent"))
    ready = now + timedelta(minutes=policy.messages.gather_minutes if gathers else 0)
    message = Message(
        event,
        cause,
        contact.ref,
        reference,
        ways,
        not_before=ready if urgent else may_go_from(ready, policy),
        expires_at=ready + LIFE if urgent else may_go_from(may_go_from(ready, policy) + LIFE, policy) + A_DAY,
        gather=f"{event} {reference}" if gathers else None,
        facts=facts,
    )
    outbox.put(connection, message, now)


def _suits(channel: str, what: MessageKind) -> bool:
    if channel == Channel.PUSH:
        return what.pushed is not Pushed.NEVER
    return channel != Channel.RING or what.worth_a_call

"""`compose`: turns a due message into words, at the moment it is sent.

Whom to reach, in which language, and whether it is still true is looked up now; so an address that was corrected or
erased meanwhile is used as it stands, and neither letters nor links lie in the database. A file here says of a family
of events what their words need and when they are no longer true; the words are in `templates/messages/<event>/`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy import Connection

from notifications.letters import Attachment, Compose, Composed, Due, Later, Letter, Unreachable, Withdrawn
from portal.actions import tell
from portal.letters import (
    afterwards,
    cancelled,
    collection,
    conversation,
    docket,
    handover,
    questions,
    rights,
    staff,
    standing,
    statement,
)
from portal.letters.own_words import own_words
from portal.letters.pushing import write_push
from portal.letters.told import Facts, Letterbox, StaffStillTrue, StillTrue, Told, look_up, look_up_staff
from portal.letters.writing import write, write_sms, write_to_staff
from portal.rules.messages import Channel, Wants, kind_of
from portal.rules.quiet import may_go_from
from portal.rules.sentences import Sentence

STILL_TRUE: Mapping[str, StillTrue] = {
    **standing.EVENTS,
    **handover.EVENTS,
    **collection.EVENTS,
    **conversation.EVENTS,
    **questions.EVENTS,
    **rights.EVENTS,
    **cancelled.EVENTS,
    **afterwards.EVENTS,
}
# What goes with the mail of an event, and how the mail says so.
ATTACHED: Mapping[str, tuple[Callable[[Letterbox, Told, Facts], Sequence[Attachment]], Sentence]] = {
    "taken_in": (docket.attached, docket.IS_ATTACHED),
    "ended": (statement.attached, statement.IS_ATTACHED),
    "handed_over_without_code": (statement.attached, statement.IS_ATTACHED),
    "posted": (statement.attached, statement.IS_ATTACHED),
}
STAFF_STILL_TRUE: Mapping[str, StaffStillTrue] = {
    **staff.EVENTS,
    **rights.STAFF_EVENTS,
    **cancelled.STAFF_EVENTS,
    **afterwards.STAFF_EVENTS,
}


def make_composer(desk: Letterbox, sender_address: str) -> Compose:
    """The compose function of an installation. `sender_address` is where its mail comes from."""

    def compose(due: Due, channel: str, now: datetime) -> Composed:
        with desk.reading() as connection:
            if tell.staff_id(due.recipient) is not None:
                return _to_staff(desk, connection, due, sender_address)
            found = found_true(desk, connection, due)
        if isinstance(found, Withdrawn):
            return found
        told, context = found
        kind = kind_of(due.event)
        if kind.news and told.contact.wants == Wants.FEW:
            return Withdrawn("the contact wants to hear only what is asked, and that it is ready")
        if kind.reminder and told.contact.no_reminders:
            return Withdrawn("the contact wants no reminders")
        if not tell.address(told.contact, channel):
            return Unreachable("there is no address for this channel any more")
        urgent = kind.urgent or any(facts.get("urgent") for facts in due.facts)
        if not urgent and (day := may_go_from(now, told.policy)) > now:
            return Later(day)  # a try that failed comes round at night, too
        if channel == Channel.RING:
            return Letter(to=due.recipient, subject="", text="", due=due)
        if channel == Channel.PUSH:
            return write_push(desk, due, told, context, now)
        if channel == Channel.SMS:
            return write_sms(desk, due.event, told, context)
        attached, context = _attached(desk, due.event, told, context)
        return write(desk, due.event, told, context, sender_address, attached=attached, can_be_stopped=kind.reminder)

    return compose


def found_true(desk: Letterbox, connection: Connection, due: Due) -> tuple[Told, Facts] | Withdrawn:
    """What a message to a contact is about and its words need, as it stands now, or why it is no longer true."""
    told = look_up(connection, due, desk.policy(connection))
    if isinstance(told, Withdrawn):
        return told
    context = STILL_TRUE[due.event](desk, connection, told)
    if isinstance(context, Withdrawn):
        return context
    about = {"tickets": told.tickets, **context}
    return replace(told, wording=own_words(connection, due.event, told.visit.language, about)), context


def _attached(desk: Letterbox, event: str, told: Told, context: Facts) -> tuple[Sequence[Attachment], Facts]:
    """What goes with a mail, and its facts with the word for that."""
    attach, says = ATTACHED.get(event, (None, None))
    attached = attach(desk, told, context) if attach else ()
    return attached, {**context, "attached": says} if attached else context


def _to_staff(desk: Letterbox, connection: Connection, due: Due, sender_address: str) -> Composed:
    told = look_up_staff(connection, due, desk.policy(connection))
    if isinstance(told, Withdrawn):
        return told
    context = STAFF_STILL_TRUE[due.event](desk, connection, told)
    if isinstance(context, Withdrawn):
        return context
    if not told.person.email:
        return Unreachable("there is no address for this channel any more")
    told = replace(told, wording=own_words(connection, due.event, told.policy.shop.languages[0], context))
    return write_to_staff(desk, due.event, told, context, sender_address)

"""“I am not satisfied”: a complaint has a day by which it is answered, and keeps the data that it is about.

While one is open nobody is reminded to collect, and no formal notice goes out.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import partial

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.conversation import count_writing
from portal.actions.desk import CUSTOMER, By, Change, Desk, Outcome, change_ticket
from portal.language import language
from portal.rules.days import local_day
from portal.rules.policy import Policy
from portal.rules.refusals import Refused
from portal.rules.retention import Kept
from portal.rules.sentences import say
from portal.rules.stages import Event
from portal.rules.text import passage
from portal.store import complaints, keeping
from portal.store.complaints import Complaint
from portal.store.keeping import Pause
from portal.store.tickets import Ticket

LONGEST = 2000  # characters
KEEPS = (Kept.CONTACT, Kept.DEVICE, Kept.RECORD, Kept.PHOTO)  # what an answer is made from


def complain(
    desk: Desk,
    number: str,
    words: str,
    *,
    by: By = CUSTOMER,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """The customer is not satisfied; the keeper is told, and the data stays until somebody has looked.

    Said on the telephone or at the counter, it is written down `by` somebody of the staff.

    Raises Unfit without words, TooOften, Refused while a complaint about the device is open, or before it has come.
    """
    said = passage("words", say("What you are not satisfied with"), words, limit=LONGEST, required=True)
    now = desk.clock.now()
    if by.kind == "customer":
        count_writing(desk, number, deed_key)

    def decide(connection: Connection, ticket: Ticket, policy: Policy) -> Change:
        if ticket.stage is None and ticket.ending is None:
            raise Refused(say("This device has not come yet. Please write to us instead."))
        before = complaints.open_of(connection, ticket.id)
        if before:
            raise Refused(say("You have told us already; you have our answer by {day}.", day=before.answer_by))
        today = local_day(now, policy)
        answer_by = today + timedelta(days=policy.complaints.answer_days)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            review_on = today + timedelta(days=policy.complaints.review_days)
            why = language(policy.shop.languages[0], policy.shop.zone).say(say("A complaint is open."))
            paused = _to_pause(connection, ticket.visit_id)
            for kept in paused:
                keeping.pause(connection, ticket.visit_id, Pause(kept, why, review_on), None, now)
            complaints.add(
                connection,
                {
                    "ticket_id": ticket.id,
                    "entry": ticket.revision + 1,
                    "opened_at": now,
                    "answer_by": answer_by,
                    "paused": [kept.value for kept in paused],
                },
            )

        return Change([Event("complained", {"day": answer_by.isoformat()})], text=said, write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=tell.complained)


def answer(
    desk: Desk,
    by: By,
    number: str,
    words: str,
    *,
    closes: bool = False,
    seen: int | None = None,
    deed_key: str | None = None,
) -> Outcome:
    """Answer the complaint that is open; its customer is told. `closes`: with that it is done.

    Raises Unfit without words, Refused where no complaint is open.
    """
    said = passage("words", say("The answer"), words, required=True)

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        found = _open(connection, ticket)

        def write(connection: Connection, ticket: Ticket, now: datetime) -> None:
            complaints.answered(connection, found.id, now)
            if closes:
                _close(found, connection, ticket, now)

        events = [Event("complaint_answered"), *([Event("complaint_closed")] if closes else [])]
        return Change(events, text=said, write=write)

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key, then=tell.complaint_answered)


def close(desk: Desk, by: By, number: str, *, seen: int | None = None, deed_key: str | None = None) -> Outcome:
    """It is settled, says the bench once it has answered, or the customer at any time. What it kept may go.

    Raises Refused where no complaint is open, or the bench has not answered it.
    """

    def decide(connection: Connection, ticket: Ticket, _policy: Policy) -> Change:
        found = _open(connection, ticket)
        if by.kind != "customer" and found.answered_at is None:
            raise Refused(say("Answer the complaint first; then it can be closed."))
        return Change([Event("complaint_closed")], write=partial(_close, found))

    return change_ticket(desk, by, number, decide, seen=seen, deed_key=deed_key)


def _open(connection: Connection, ticket: Ticket) -> Complaint:
    found = complaints.open_of(connection, ticket.id)
    if found is None:
        raise Refused(say("No complaint is open about this repair."))
    return found


def _close(found: Complaint, connection: Connection, ticket: Ticket, now: datetime) -> None:
    complaints.close(connection, found.id, now)
    for kept in set(found.paused) - _kept_by_complaints(connection, ticket.visit_id):
        keeping.end_pause(connection, ticket.visit_id, Kept(kept))


def _to_pause(connection: Connection, visit_id: int) -> Sequence[Kept]:
    """What no keeper's own pause keeps already: that one stays as it is, and another complaint's is made longer."""
    others = _kept_by_complaints(connection, visit_id)
    by_hand = {pause.kept for pause in keeping.pauses_of(connection, visit_id) if pause.kept not in others}
    return [kept for kept in KEEPS if kept not in by_hand]


def _kept_by_complaints(connection: Connection, visit_id: int) -> set[str]:
    return {kept for each in complaints.open_of_visit(connection, visit_id) for kept in each.paused}

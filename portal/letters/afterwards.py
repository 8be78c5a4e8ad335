"""Messages about what is not right yet: a complaint's answer, and whether a device came back with the same fault."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.letters.told import Facts, Letterbox, StaffStillTrue, StaffTold, StillTrue, Told
from portal.rules.warranty import CUSTOMER_VERDICT_WORDS, CUSTOMER_WAY_WORDS
from portal.store import complaints, journal, warranty


def _complaint_answered(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    answers = _texts(connection, told.tickets[0].id, "complaint_answered")
    return {"answer": answers[-1]} if answers else Withdrawn("the answer is no longer on file")


def _fault_compared(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket = told.tickets[0]
    found, words = warranty.of_ticket(connection, ticket.id), _texts(connection, ticket.id, "fault_compared")
    if found is None or found.verdict is None or found.way is None or not words or ticket.ending:
        return Withdrawn("it is no longer on file, or its device has left the shop")
    return {
        "found": CUSTOMER_VERDICT_WORDS[found.verdict],
        "paid_by": CUSTOMER_WAY_WORDS[found.way],
        "words": words[-1],
    }


def _complained(_desk: Letterbox, connection: Connection, told: StaffTold) -> Facts | Withdrawn:
    found = complaints.open_of(connection, told.ticket.id)
    words = _texts(connection, told.ticket.id, "complained")
    if found is None or not words:
        return Withdrawn("the complaint is closed")
    return {"complaint": words[-1], "answer_due": found.answer_by}


def _texts(connection: Connection, ticket_id: int, event: str) -> list[str]:
    """What was written at the entries of an event, as far as it is on file, the oldest first."""
    return [each.text for each in journal.entries(connection, ticket_id) if each.event == event and each.text]


EVENTS: Mapping[str, StillTrue] = {"complaint_answered": _complaint_answered, "fault_compared": _fault_compared}
STAFF_EVENTS: Mapping[str, StaffStillTrue] = {"complained": _complained}

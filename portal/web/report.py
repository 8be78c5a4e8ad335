"""A ticket's report: what we found, did and tested, read from its record. The customer's page and the print show it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from portal.rules.numbers import spoken
from portal.rules.summary import Summary, summary
from portal.store import journal, parts, records, sheets
from portal.store.tickets import Ticket
from portal.web.request_context import connection, desk, policy, speaking


@dataclass(frozen=True)
class Report:
    """All that a repair report shows. `made_on` is the day in the shop's zone on which it was looked at."""

    number: str
    device: str
    fault: str
    made_on: date
    told: Summary


def report(ticket: Ticket) -> Report:
    """The report of a ticket as it stands now."""
    kind = policy().kind(ticket.kind)
    last = records.newest(connection(), ticket.id)
    told = summary(
        last.record if last else None,
        [note.text for note in journal.notes_as_they_stand(journal.entries(connection(), ticket.id))],
        parts.of_ticket(connection(), ticket.id),
        parts.given(connection(), ticket.id),
        kind.checks if kind else (),
        sheets.sheet(connection(), ticket.id),
        sheets.safety_test(connection(), ticket.id),
        made_safe=bool(last and last.made_safe_at),
    )
    today = speaking().local(desk().clock.now()).date()
    return Report(spoken(ticket.number), ticket.device, ticket.fault, today, told)

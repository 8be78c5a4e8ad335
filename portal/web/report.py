"""A ticket's report: what we found, did and tested, read from its record. The customer's page and the print show it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from flask import render_template
from markupsafe import Markup

from portal.rules.check_code import Paper, check_code
from portal.rules.numbers import spoken
from portal.rules.summary import Summary, summary
from portal.store import journal, parts, records, sheets
from portal.store.tickets import Ticket
from portal.web.request_context import connection, desk, local_today, policy


@dataclass(frozen=True)
class Report:
    """All that a repair report shows. `made_on` is the day in the shop's zone on which it was looked at."""

    number: str
    device: str
    fault: str
    made_on: date
    told: Summary
    statements: Sequence[str]  # its owner's own, where they see something otherwise (GDPR Art. 16)


@dataclass(frozen=True)
class Printed:
    """A report as it is shown: its parts, and the code by which a holder proves that it is genuine."""

    head: Report
    body: Markup
    check_code: str
    check_at: str  # the address of the page that checks it


def printed(ticket: Ticket) -> Printed:
    """The report of a ticket as it stands now, in the page's language."""
    head, links = report(ticket), desk().links
    body = Markup(render_template("_report.html", report=head))  # noqa: S704 (the template escapes)
    paper = Paper(head.number, head.device, head.made_on, body.striptags())
    return Printed(head, body, check_code(links.secret, paper), f"{links.base_url}/check")


def report(ticket: Ticket) -> Report:
    """What the report of a ticket tells."""
    kind = policy().kind(ticket.kind)
    last = records.newest(connection(), ticket.id)
    entries = journal.entries(connection(), ticket.id)
    told = summary(
        last.record if last else None,
        [note.text for note in journal.notes_as_they_stand(entries)],
        parts.of_ticket(connection(), ticket.id),
        parts.given(connection(), ticket.id),
        kind.checks if kind else (),
        sheets.sheet(connection(), ticket.id),
        sheets.safety_test(connection(), ticket.id),
        made_safe=bool(last and last.made_safe_at),
    )
    today = local_today()
    statements = [entry.text for entry in entries if entry.event == "stated" and entry.text]
    return Report(spoken(ticket.number), ticket.device, ticket.fault, today, told, statements)

"""What the gates need to know of a ticket, read in one place."""

from __future__ import annotations

from sqlalchemy import Connection, bindparam, exists, func, select

from portal.rules import test_sheet, tray
from portal.rules.gates import Facts
from portal.rules.intake_record import Unlocking, unsafe
from portal.rules.policy import Policy
from portal.store import photos, questions, records, sheets, trays
from portal.store.tables import contacts, journal
from portal.store.tickets import Ticket

_ENTERED = (
    select(func.coalesce(func.max(journal.c.entry), 0))
    .where(journal.c.ticket_id == bindparam("ticket_id"), journal.c.event.in_(("arrived", "moved")))
    .scalar_subquery()
)
_FACTS = select(
    exists().where(
        contacts.c.visit_id == bindparam("visit_id"),
        contacts.c.may_be_told,
        (contacts.c.email != "") | (contacts.c.phone != ""),
    ),
    exists().where(
        journal.c.ticket_id == bindparam("ticket_id"),
        journal.c.event == "noted",
        journal.c.audience == "customer",
        journal.c.entry > _ENTERED,
    ),
)


def facts(connection: Connection, ticket: Ticket, policy: Policy) -> Facts:
    """Every fact that some gate may ask for."""
    reachable, noted = connection.execute(_FACTS, {"visit_id": ticket.visit_id, "ticket_id": ticket.id}).one()
    version = records.newest(connection, ticket.id)
    record = version.record if version else None
    kind = policy.kind(ticket.kind)
    checks = kind.checks if kind else []
    sheet = sheets.sheet(connection, ticket.id)
    without_unlocking = record is not None and record.unlocking == Unlocking.TESTED_WITHOUT
    safety = sheets.safety_test(connection, ticket.id) if kind and kind.mains else None
    photographed = photos.moments(connection, ticket.id)
    return Facts(
        fault_described=bool(ticket.fault),
        contact_reachable=bool(reachable),
        customer_note_in_stage=bool(noted),
        before_photo="before" in photographed,
        after_photo="after" in photographed,
        intake_recorded=version is not None,
        extras_settled=questions.settled(connection, ticket.id),
        tray_settled=tray.settled(trays.lines(connection, ticket.id)),
        sheet_before_made=test_sheet.made_before(checks, sheet),
        sheet_passed=not test_sheet.unsettled(checks, sheet, without_unlocking=without_unlocking),
        no_failed_check=not test_sheet.failed(checks, sheet),
        no_safety_flag=not unsafe(record, made_safe=bool(version and version.made_safe_at)),
        safety_test_recorded=not (kind and kind.mains) or bool(safety and safety.done),
    )

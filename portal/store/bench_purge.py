"""Erasing the bench record, one function for each kind of data. When what is due is not decided here."""

from __future__ import annotations

from sqlalchemy import BindParameter, Connection, bindparam, delete, select, update

from portal.store.bench_tables import (
    acknowledgements,
    announcements,
    courtesies,
    intake_records,
    parts,
    safety_tests,
    test_results,
    tray_lines,
)
from portal.store.ending_tables import complaints, formal_notices, warranty_returns
from portal.store.forecast_tables import windows
from portal.store.handover_tables import handovers, parcels, return_choices
from portal.store.tables import tickets

_WANTED: BindParameter[int] = bindparam("wanted")
_TABLES = (
    announcements,
    complaints,
    courtesies,
    formal_notices,
    handovers,
    intake_records,
    parcels,
    parts,
    return_choices,
    safety_tests,
    test_results,
    tray_lines,
    warranty_returns,
    windows,
)
OF_TICKETS = tuple(table.name for table in _TABLES)
_WORK = [delete(table).where(table.c.ticket_id == _WANTED) for table in _TABLES]
_SERIALS = (
    update(intake_records).where(intake_records.c.ticket_id == _WANTED).values(serial=""),
    update(formal_notices).where(formal_notices.c.ticket_id == _WANTED).values(goods=""),
)
_OF_VISIT = select(tickets.c.id).where(tickets.c.visit_id == _WANTED)
_ADDRESSES = (
    update(announcements).where(announcements.c.ticket_id.in_(_OF_VISIT)).values(return_address=""),
    update(return_choices).where(return_choices.c.ticket_id.in_(_OF_VISIT)).values(address="", person=""),
    update(formal_notices).where(formal_notices.c.ticket_id.in_(_OF_VISIT)).values(address="", recipient=""),
)
_READ = delete(acknowledgements).where(acknowledgements.c.staff_id == _WANTED)


def work(connection: Connection, ticket_id: int) -> None:
    """Erase the condition and work record of a ticket; its journal's events stay."""
    for statement in _WORK:
        connection.execute(statement, {"wanted": ticket_id})


def serials(connection: Connection, ticket_id: int) -> None:
    """Erase the serial number in every version of a ticket's intake record, and which goods letters named."""
    for statement in _SERIALS:
        connection.execute(statement, {"wanted": ticket_id})


def return_addresses(connection: Connection, visit_id: int) -> None:
    """Erase where a visit's devices were to be posted back to, whom their owner sent, and to whom letters went."""
    for statement in _ADDRESSES:
        connection.execute(statement, {"wanted": visit_id})


def acknowledged(connection: Connection, staff_id: int) -> None:
    """Erase what a person has acknowledged."""
    connection.execute(_READ, {"wanted": staff_id})

"""Cautions at the bench: each person reads them once, and for a ticket with a hazard once more."""

from __future__ import annotations

import pytest

from portal.actions.cautions import acknowledge, shown
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.record import record
from portal.rules.intake_record import Record
from portal.rules.refusals import Refused
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, journal_of, ticket_of
from tests.actions.bench import bring_to
from tests.conftest import BENCH


def unread(desk: Desk, by: By, number: str) -> set[str]:
    with desk.reading() as connection:
        return {each.key for each in shown(desk, connection, by, ticket_of(desk, number)) if not each.acknowledged}


def phone(desk: Desk) -> str:
    return take_in(desk, BENCH, NewVisit([NewDevice("Phone", "Dead.", "phone")])).numbers[0]


def test_a_person_reads_once_for_all_tickets(desk: Desk, technician: By, keeper: By) -> None:
    first, second = phone(desk), phone(desk)
    bring_to(desk, first, "board_work")
    bring_to(desk, second, "board_work")
    assert "fume" in unread(desk, technician, first)

    acknowledge(desk, technician, first)

    assert unread(desk, technician, first) == unread(desk, technician, second) == set()
    assert "fume" in unread(desk, keeper, first)
    assert journal_of(desk, first)[-1].event == "moved"


def test_a_damaged_cell_is_read_for_its_own_ticket(desk: Desk, technician: By) -> None:
    first, second = phone(desk), phone(desk)
    for number in (first, second):
        record(desk, BENCH, number, Record(battery=["swollen"]))
    acknowledge(desk, technician, first)

    assert unread(desk, technician, first) == set()
    assert unread(desk, technician, second) == {"damaged_cell"}
    entry = journal_of(desk, first)[-1]
    assert (entry.event, entry.data, entry.by) == ("cautioned", {"caution": "damaged_cell"}, "Robin")
    assert_the_journal_rebuilds_the_row(desk, first)


def test_reading_twice_leaves_one_trace(desk: Desk, technician: By) -> None:
    number = phone(desk)
    record(desk, BENCH, number, Record(battery=["hot"]))
    acknowledge(desk, technician, number)
    acknowledge(desk, technician, number)

    assert [entry.event for entry in journal_of(desk, number)].count("cautioned") == 1


def test_only_a_person_reads(desk: Desk, number: str) -> None:
    with pytest.raises(Refused, match="Please log in"):
        acknowledge(desk, BENCH, number)

"""Of the bench record nothing is left once it is erased, in any table."""

from __future__ import annotations

from datetime import date

from sqlalchemy import select

from portal.actions.announce import Announced, announce
from portal.actions.cautions import acknowledge
from portal.actions.desk import By, Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit
from portal.actions.parts import fit_from_stock, give, order
from portal.actions.record import object_to, record
from portal.actions.sheet import Typed, fill_in, record_safety_test
from portal.actions.tray import end_all, take_out
from portal.rules.intake_record import Item, Mark, Record
from portal.rules.summary import SafetyTest
from portal.rules.tray import NewLine
from portal.store import bench_purge, people, policies, purge
from portal.store.tables import metadata
from tests.actions.aftermath import ticket_of
from tests.conftest import BENCH

SECRET = "MARKED WORDS"


def fill(desk: Desk, number: str) -> None:
    record(desk, BENCH, number, Record(SECRET, serial="S-MARKED WORDS", marks=[Mark(SECRET)], items=[Item(SECRET)]))
    object_to(desk, number, 1, SECRET)
    take_out(desk, BENCH, number, [NewLine(SECRET, lies_at=SECRET)])
    end_all(desk, BENCH, number, "put back")
    fill_in(desk, BENCH, number, [Typed("starts", "after", "pass", SECRET)])
    record_safety_test(desk, BENCH, number, SafetyTest(True, SECRET, SECRET, "2026-03-02", SECRET))
    order(desk, BENCH, number, SECRET, SECRET, date(2026, 3, 6), hold=False)
    fit_from_stock(desk, BENCH, number, SECRET)
    give(desk, BENCH, number, SECRET)


def dump(desk: Desk) -> str:
    with desk.reading() as connection:
        return "\n".join(
            f"{table.name}: {tuple(row)!r}"
            for table in metadata.sorted_tables
            for row in connection.execute(select(table))
        )


def test_the_words_go_while_the_ticket_stays(desk: Desk, number: str) -> None:
    fill(desk, number)
    return_unrepaired(desk, BENCH, number, SECRET)
    with desk.writing() as connection:
        purge.record_words(connection, ticket_of(desk, number).id)

    assert SECRET not in dump(desk)


def test_the_whole_record_goes_with_its_ticket(desk: Desk, number: str) -> None:
    fill(desk, number)
    return_unrepaired(desk, BENCH, number, SECRET)
    with desk.writing() as connection:
        purge.record(connection, ticket_of(desk, number).id)

    assert SECRET not in dump(desk)


def test_the_serial_number_goes_with_the_devices_identity(desk: Desk, number: str) -> None:
    record(desk, BENCH, number, Record(serial="S-MARKED WORDS"))
    with desk.writing() as connection:
        purge.device_identity(connection, ticket_of(desk, number).id)

    assert SECRET not in dump(desk)


def test_the_return_address_goes_by_itself(desk: Desk) -> None:
    with desk.writing() as connection:
        document = policies.document(connection, 1)
        assert document is not None
        policies.add(connection, document.replace("announcing = false", "announcing = true"), desk.clock.now(), None)
    form = Announced(NewVisit(email="ada@example.org"), NewDevice("Console", "Broken.", "console"), SECRET)
    (number,) = announce(desk, form, "198.51.100.7").numbers
    with desk.writing() as connection:
        bench_purge.return_addresses(connection, ticket_of(desk, number).visit_id)

    assert SECRET not in dump(desk)


def test_what_a_former_technician_acknowledged_goes_with_them(desk: Desk, number: str, technician: By) -> None:
    record(desk, BENCH, number, Record(battery=["hot"]))
    acknowledge(desk, technician, number)
    assert technician.staff_id is not None
    with desk.writing() as connection:
        people.change(connection, technician.staff_id, disabled_at=desk.clock.now())
        assert purge.staff_member(connection, technician.staff_id)

    assert "acknowledgements:" not in dump(desk)

"""Parts in the store: the wait for them, a delivery for several tickets, donors, work given free."""

from __future__ import annotations

from datetime import date

import pytest

from notifications.instants import FixedClock
from portal.actions.desk import Desk
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import hold
from portal.actions.parts import Tick, add_donor, fit, fit_from_stock, give, order, settle_delivery
from portal.rules import parts as rules
from portal.rules.parts import Origin, PartLine, State
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Hold
from portal.store import parts, policies
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, ticket_of
from tests.conftest import BENCH

SOON = date(2026, 3, 6)


def parts_of(desk: Desk, number: str) -> list[PartLine]:
    with desk.reading() as connection:
        return parts.of_ticket(connection, ticket_of(desk, number).id)


def due(desk: Desk) -> list[parts.Due]:
    with desk.reading() as connection:
        return parts.due(connection)


def switch_donors_on(desk: Desk) -> None:
    with desk.writing() as connection:
        document = policies.document(connection, 1)
        assert document is not None
        policies.add(connection, document.replace("donors = false", "donors = true"), desk.clock.now(), None)


def test_an_ordered_part_makes_its_ticket_wait_and_tells_the_day(desk: Desk, number: str) -> None:
    order(desk, BENCH, number, "picture port", "A supplier", SOON, reference="X-1", warranty_months=12)

    assert ticket_of(desk, number).hold is Hold.PART
    assert parts_of(desk, number) == [
        PartLine(1, "picture port", State.ORDERED, Origin.NEW, "A supplier", "X-1", SOON, 12)
    ]
    assert rules.expected(parts_of(desk, number)) == SOON
    ordered = next(entry for entry in journal_of(desk, number) if entry.event == "part_ordered")
    assert (ordered.data, ordered.text) == ({"part": "1", "expected_on": "2026-03-06"}, "picture port")
    assert_the_journal_rebuilds_the_row(desk, number)


def test_a_ticket_that_waits_for_something_else_goes_on_waiting_for_that(desk: Desk, number: str) -> None:
    hold(desk, BENCH, number, "customer")
    order(desk, BENCH, number, "fan", "A supplier", SOON)
    settle_delivery(desk, BENCH, [Tick(number, 1, "arrived")])

    assert ticket_of(desk, number).hold is Hold.CUSTOMER


def test_the_list_of_parts_due_knows_which_are_late(desk: Desk, number: str) -> None:
    order(desk, BENCH, number, "fan", "A supplier", date(2026, 3, 9))
    order(desk, BENCH, number, "port", "A supplier", SOON)

    assert [(each.number, each.part.what) for each in due(desk)] == [(number, "port"), (number, "fan")]
    assert [each.late(date(2026, 3, 7)) for each in due(desk)] == [True, False]
    assert not due(desk)[0].late(SOON)


def test_one_delivery_for_five_tickets_is_ticked_off_at_once(desk: Desk) -> None:
    visit = NewVisit([NewDevice(f"Device {place}", "Broken.", "console") for place in range(5)])
    numbers = take_in(desk, BENCH, visit).numbers
    for each in numbers:
        order(desk, BENCH, each, "port", "A supplier", SOON)
    how = ["arrived", "arrived", "wrong part", "dead on arrival", "arrived"]
    ticks = [Tick(each, 1, said) for each, said in zip(numbers, how, strict=True)]

    settle_delivery(desk, BENCH, ticks, deed_key="k" * 32)
    settle_delivery(desk, BENCH, ticks, deed_key="k" * 32)

    assert due(desk) == []
    assert [ticket_of(desk, each).hold for each in numbers] == [None] * 5
    assert [parts_of(desk, each)[0].state.value for each in numbers] == how
    for each in numbers:
        assert_the_journal_rebuilds_the_row(desk, each)


def test_a_delivery_with_one_part_that_nobody_awaits_changes_nothing(desk: Desk, number: str) -> None:
    order(desk, BENCH, number, "port", "A supplier", SOON)
    before = everything(desk)

    for bad in (Tick(number, 2, "arrived"), Tick(number, 1, "lost")):
        with pytest.raises(Refused):
            settle_delivery(desk, BENCH, [Tick(number, 1, "arrived"), bad])
    with pytest.raises(Unfit):
        settle_delivery(desk, BENCH, [])
    assert everything(desk) == before


def test_a_part_that_arrived_is_fitted(desk: Desk, number: str) -> None:
    order(desk, BENCH, number, "port", "A supplier", SOON)
    with pytest.raises(Refused, match="cannot be fitted"):
        fit(desk, BENCH, number, 1)
    settle_delivery(desk, BENCH, [Tick(number, 1, "arrived")])
    fit(desk, BENCH, number, 1)

    assert parts_of(desk, number)[0].state is State.FITTED


def test_a_part_from_a_donor_is_a_used_one(desk: Desk, number: str) -> None:
    switch_donors_on(desk)
    donor = add_donor(desk, "Console, black, no. 7", "B. Donor", "Signed sheet, folder 2026")
    fit_from_stock(desk, BENCH, number, "drive", donor=donor)
    fit_from_stock(desk, BENCH, number, "screw", warranty_months=0)

    assert [part.origin for part in parts_of(desk, number)] == [Origin.DONOR, Origin.NEW]
    with desk.reading() as connection:
        assert parts.taken_from(connection, donor) == [(number, "drive")]
    with pytest.raises(Refused, match="no donor device 99"):
        fit_from_stock(desk, BENCH, number, "drive", donor=99)


def test_a_forgotten_donor_leaves_its_parts_used(desk: Desk, number: str) -> None:
    switch_donors_on(desk)
    donor = add_donor(desk, "Console", "B. Donor", "Signed sheet")
    fit_from_stock(desk, BENCH, number, "drive", donor=donor)

    with desk.writing() as connection:
        parts.forget_donor(connection, donor)

    (part,) = parts_of(desk, number)
    assert (part.origin, part.donor) == (Origin.DONOR, None)


def test_the_list_of_donors_is_off_by_default_and_asks_for_written_consent(desk: Desk) -> None:
    with pytest.raises(Refused, match="keeps no list"):
        add_donor(desk, "Console", "B. Donor", "Signed sheet")

    switch_donors_on(desk)
    with pytest.raises(Unfit, match="written consent lies is missing"):
        add_donor(desk, "Console", "B. Donor", "")


def test_work_given_free_is_listed_for_the_customer(desk: Desk, number: str, clock: FixedClock) -> None:
    give(desk, BENCH, number, "cleaning inside")

    with desk.reading() as connection:
        assert parts.given(connection, ticket_of(desk, number).id) == ["cleaning inside"]
    entry = journal_of(desk, number)[-1]
    assert (entry.event, entry.audience, entry.text) == ("courtesy_given", "customer", "cleaning inside")

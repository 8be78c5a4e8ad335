"""Devices by post: announced, followed as announced, matched when the parcel comes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from portal.actions.announce import MOST_BY_ADDRESS, Announced, announce, compared, receive
from portal.actions.desk import Desk
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import move
from portal.rules.intake_record import Item
from portal.rules.refusals import AskFirst, Refused, Unfit
from portal.rules.throttle import TooOften
from portal.store import announcements, policies
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, ticket_of
from tests.conftest import BENCH

FORM = Announced(
    NewVisit(name="Ada Marsh", email="ada@example.org"),
    NewDevice("Console, white", "No picture.", "console"),
    "Ada Marsh\n1 Example Road\nExampleton",
    [Item("console"), Item("cable", "2")],
    12_000,
)


@pytest.fixture
def posting(desk: Desk) -> Desk:
    """A desk whose policy takes announcements."""
    with desk.writing() as connection:
        document = policies.document(connection, 1)
        assert document is not None
        policies.add(connection, document.replace("announcing = false", "announcing = true"), desk.clock.now(), None)
    return desk


def test_it_is_off_by_default(desk: Desk) -> None:
    with pytest.raises(Refused, match="call or write first"):
        announce(desk, FORM, "198.51.100.7")


def test_an_announced_device_has_a_number_and_a_link_and_no_stage(posting: Desk) -> None:
    told = announce(posting, FORM, "198.51.100.7")

    (number,) = told.numbers
    assert told.link.startswith("http://bench.test/t/D")
    assert ticket_of(posting, number).stage is None
    assert [(entry.event, entry.by_kind) for entry in journal_of(posting, number)] == [("announced", "customer")]
    with pytest.raises(Refused, match="announced but has not arrived"):
        move(posting, BENCH, number, "cleaning")
    assert_the_journal_rebuilds_the_row(posting, number)


def test_a_parcel_is_matched_with_what_was_announced(posting: Desk) -> None:
    (number,) = announce(posting, FORM, "198.51.100.7").numbers
    receive(posting, BENCH, number, [Item("Console"), Item("cable", 1)], parcel_damage="Corner crushed.")

    ticket = ticket_of(posting, number)
    assert ticket.stage == "received"
    with posting.reading() as connection:
        known = announcements.of_ticket(connection, ticket.id)
        assert [str(each) for each in compared(connection, ticket.id)] == ["“cable”: 2 announced, 1 arrived."]
    assert known is not None
    assert (known.parcel_damage, known.declared_minor, known.received_at) == (
        "Corner crushed.",
        12_000,
        posting.clock.now(),
    )
    assert journal_of(posting, number)[-1].data == {"differences": "1", "damaged": "true"}
    assert_the_journal_rebuilds_the_row(posting, number)
    with pytest.raises(Refused, match="arrived already"):
        receive(posting, BENCH, number, [])


def test_what_was_not_announced_is_taken_in_at_the_counter(posting: Desk, number: str) -> None:
    with pytest.raises(Refused, match="was not announced"):
        receive(posting, BENCH, number, [])


@pytest.mark.parametrize(
    ("form", "field"),
    [
        (replace(FORM, visit=NewVisit(name="Ada Marsh")), "email"),
        (replace(FORM, visit=NewVisit(email="nobody")), "email"),
        (replace(FORM, device=NewDevice("", "No picture.")), "device"),
        (replace(FORM, device=NewDevice("Console", "", "spaceship")), "kind"),
        (replace(FORM, items=[Item("cable", "-1")]), "items"),
        (replace(FORM, declared_minor=-1), "declared"),
        (replace(FORM, declared_minor=10**12), "declared"),
        (replace(FORM, return_address="x" * 500), "return_address"),
    ],
)
def test_what_does_not_fit_leaves_nothing(posting: Desk, form: Announced, field: str) -> None:
    with pytest.raises(Unfit) as refused:
        announce(posting, form, "198.51.100.7")

    assert refused.value.field == field
    assert everything(posting)["tickets"] == everything(posting)["visits"] == []


def test_a_passcode_in_the_fault_is_asked_about(posting: Desk) -> None:
    form = replace(FORM, device=NewDevice("Phone", "Broken, PIN 1234", "phone"))

    with pytest.raises(AskFirst):
        announce(posting, form, "198.51.100.7")
    assert announce(posting, form, "198.51.100.7", confirmed=True).numbers


def test_a_stranger_cannot_fill_the_bench(posting: Desk) -> None:
    for _ in range(MOST_BY_ADDRESS):
        announce(posting, FORM, "198.51.100.7")

    with pytest.raises(TooOften):
        announce(posting, FORM, "198.51.100.7")
    assert announce(posting, FORM, "198.51.100.8").numbers


def test_the_same_form_sent_twice_announces_once(posting: Desk) -> None:
    first = announce(posting, FORM, "198.51.100.7", deed_key="k1")
    again = announce(posting, FORM, "198.51.100.7", deed_key="k1")

    assert (again.link, again.numbers, again.repeated) == (first.link, first.numbers, True)
    assert len(everything(posting)["tickets"]) == 1


def test_the_key_of_another_form_opens_no_link(posting: Desk, arrival: NewVisit) -> None:
    take_in(posting, BENCH, arrival, deed_key="of-the-counter")

    with pytest.raises(Refused, match="damaged"):
        announce(posting, FORM, "198.51.100.7", deed_key="of-the-counter")

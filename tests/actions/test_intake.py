"""Devices arrive: a visit with its contact and link, a ticket for each device, and a message to the owner."""

from __future__ import annotations

import dataclasses
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from portal.actions import intake
from portal.actions.desk import By, Desk
from portal.actions.intake import MOST_DEVICES, NewDevice, NewVisit, TakenIn, take_in
from portal.actions.links import resolve
from portal.rules.numbers import parse_number
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Standing
from portal.store import visits
from tests.actions.aftermath import everything, journal_of, messages, ticket_of
from tests.conftest import BENCH

PHONE = NewDevice("Phone, grey", "The screen is cracked.", "phone")


def test_a_device_becomes_a_ticket_in_the_first_stage(desk: Desk, taken_in: TakenIn, number: str) -> None:
    ticket = ticket_of(desk, number)

    assert parse_number(number) == number
    assert ticket.standing == Standing("received")
    assert (ticket.device, ticket.kind) == ("Handheld console, blue", "console")
    assert ticket.fault == "Does not charge. Was dropped last week."
    assert ticket.made_at == ticket.stage_since == desk.clock.now()


def test_the_contact_is_kept_in_standard_form_and_may_do_everything(desk: Desk, number: str) -> None:
    with desk.reading() as connection:
        (ada,) = visits.contacts_of(connection, ticket_of(desk, number).visit_id)

    assert (ada.role, ada.name, ada.email, ada.phone) == ("owner", "Ada Marsh", "ada@example.org", "+447700900123")
    assert (ada.may_be_told, ada.may_agree, ada.may_collect) == (True, True, True)


def test_taking_in_stands_in_the_journal_with_who_did_it(desk: Desk, arrival: NewVisit, technician: By) -> None:
    number = take_in(desk, technician, arrival).numbers[0]

    (entry,) = journal_of(desk, number)
    assert (entry.event, entry.data, entry.at) == ("arrived", {"stage": "received"}, desk.clock.now())
    assert (entry.by_kind, entry.by) == ("staff", "Robin")


def test_the_link_leads_to_the_visit(desk: Desk, taken_in: TakenIn) -> None:
    with desk.reading() as connection:
        reader = resolve(desk, connection, taken_in.link.rsplit("/", 1)[1])

    assert reader.visit.ref == taken_in.visit_ref


def test_the_owner_is_told_once_for_the_whole_visit(desk: Desk, arrival: NewVisit) -> None:
    taken_in = take_in(desk, BENCH, dataclasses.replace(arrival, devices=[PHONE, PHONE]))

    assert messages(desk) == [("taken_in", taken_in.visit_ref, {"urgent": True})]


def test_nobody_is_told_who_left_no_address(desk: Desk) -> None:
    taken_in = take_in(desk, BENCH, NewVisit([PHONE]))

    assert taken_in.numbers
    assert messages(desk) == []


def test_each_device_of_a_visit_gets_a_ticket_of_its_own(desk: Desk) -> None:
    first, second = take_in(desk, BENCH, NewVisit([PHONE, NewDevice("Laptop", "")])).numbers

    assert first != second
    assert ticket_of(desk, first).visit_id == ticket_of(desk, second).visit_id
    assert [ticket_of(desk, number).device for number in (first, second)] == ["Phone, grey", "Laptop"]


def test_the_first_kind_is_taken_where_none_is_named(desk: Desk) -> None:
    assert ticket_of(desk, take_in(desk, BENCH, NewVisit([NewDevice("Thing", "")])).numbers[0]).kind == "console"


def test_a_form_sent_twice_takes_in_once_and_tells_the_same(desk: Desk, arrival: NewVisit) -> None:
    first = take_in(desk, BENCH, arrival, deed_key="once")
    before = everything(desk)

    again = take_in(desk, BENCH, arrival, deed_key="once")

    assert again == dataclasses.replace(first, repeated=True)
    assert everything(desk) == before


def test_a_form_sent_twice_at_once_takes_in_once(desk: Desk, arrival: NewVisit) -> None:
    together = Barrier(2)

    def send(_place: int) -> TakenIn:
        together.wait()
        return take_in(desk, BENCH, arrival, deed_key="once")

    with ThreadPoolExecutor(2) as pool:
        answers = list(pool.map(send, range(2)))

    assert sorted(answer.repeated for answer in answers) == [False, True]
    assert answers[0].numbers == answers[1].numbers
    assert len(everything(desk)["visits"]) == 1


@pytest.mark.parametrize(
    ("change", "field"),
    [
        pytest.param({"devices": []}, "device", id="no device"),
        pytest.param({"devices": [PHONE] * (MOST_DEVICES + 1)}, "device", id="too many devices"),
        pytest.param({"devices": [NewDevice("", "x")]}, "device", id="a device without a name"),
        pytest.param({"devices": [NewDevice("\x00\u202e", "x")]}, "device", id="a name that cannot be seen"),
        pytest.param({"devices": [NewDevice("x" * 10_000, "x")]}, "device", id="a device of 10,000 characters"),
        pytest.param({"devices": [PHONE, NewDevice("x", "x" * 10_000)]}, "fault", id="a fault of 10,000 characters"),
        pytest.param({"devices": [NewDevice("x", "x", "toaster")]}, "kind", id="an unknown kind"),
        pytest.param({"devices": [NewDevice("x", "x", "'; DROP TABLE tickets; --")]}, "kind", id="SQL as a kind"),
        pytest.param({"name": "x" * 10_000}, "name", id="a name of 10,000 characters"),
        pytest.param({"email": "a@x, b@y"}, "email", id="two addresses"),
        pytest.param({"email": "a@example.org\r\nBcc: b@example.org"}, "email", id="a header in an address"),
        pytest.param({"phone": "call me"}, "phone", id="no number"),
        pytest.param({"language": "tlh"}, "language", id="a language the shop does not write"),
    ],
)
def test_what_does_not_fit_is_named_and_nothing_is_taken_in(
    desk: Desk, arrival: NewVisit, change: dict[str, object], field: str
) -> None:
    before = everything(desk)

    with pytest.raises(Unfit) as refused:
        take_in(desk, BENCH, dataclasses.replace(arrival, **change))

    assert refused.value.field == field
    assert everything(desk) == before


@pytest.mark.parametrize(
    "odd",
    [
        "<script>alert(1)</script>",
        "{{7*7}} {% raw %} ${7*7} {0} %s",
        "'; DROP TABLE tickets; --",
        "שלום עולם",
        "👩\u200d🔧 Ada 🙂",
        "名前 ÅÄÖ ﬁ",
        "O’Brien-Müller",
    ],
)
def test_odd_names_are_kept_as_they_were_typed(desk: Desk, arrival: NewVisit, odd: str) -> None:
    device = NewDevice(odd, f"{odd}\n{odd}")

    number = take_in(desk, BENCH, dataclasses.replace(arrival, devices=[device], name=odd)).numbers[0]

    ticket = ticket_of(desk, number)
    with desk.reading() as connection:
        (contact,) = visits.contacts_of(connection, ticket.visit_id)
    assert (ticket.device, ticket.fault, contact.name) == (odd, f"{odd}\n{odd}", odd)


def test_controls_and_directions_are_taken_out_of_what_was_typed(desk: Desk, arrival: NewVisit) -> None:
    device = NewDevice("Pho\x00ne\u202e", "Line one\u2028line\x07 two")

    ticket = ticket_of(desk, take_in(desk, BENCH, dataclasses.replace(arrival, devices=[device])).numbers[0])

    assert (ticket.device, ticket.fault) == ("Phone", "Line one\nline two")


@pytest.mark.parametrize("key", ["", "x" * 33, "a b", "\x00", "é", "'; --"])
def test_a_form_with_a_damaged_key_is_refused(desk: Desk, arrival: NewVisit, key: str) -> None:
    before = everything(desk)

    with pytest.raises(Refused, match="This form is damaged"):
        take_in(desk, BENCH, arrival, deed_key=key)
    assert everything(desk) == before


def test_when_the_message_cannot_be_written_nothing_is_taken_in(
    desk: Desk, arrival: NewVisit, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = everything(desk)

    def fail(*_call: object, **_more: object) -> None:
        raise OSError("the outbox is out of order")

    monkeypatch.setattr(intake.tell, "taken_in", fail)

    with pytest.raises(OSError, match="out of order"):
        take_in(desk, BENCH, arrival)
    assert everything(desk) == before

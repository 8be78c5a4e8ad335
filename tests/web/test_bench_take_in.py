"""Taking in at the counter: little is needed, nothing typed is lost, several devices share one visit."""

from __future__ import annotations

import re
from datetime import date

import pytest

from portal.actions.desk import Desk, find
from portal.actions.intake import TakenIn
from portal.rules.numbers import parse_number, spoken
from portal.store import acceptances, tickets, visits
from portal.store.tickets import Ticket
from portal.store.visits import Contact
from tests.web.browser import Browser, hidden, hidden_fields
from tests.web.conftest import on_both

PAGE = "/bench/take-in"
LEAST = {"device": "Handheld console", "fault": "Does not charge"}


def number_of(location: str) -> str:
    return parse_number(location.split("/")[2])


def left(desk: Desk, location: str) -> tuple[list[Ticket], list[Contact]]:
    """The visit's tickets and contacts."""
    with desk.reading() as connection:
        visit_id = find(connection, number_of(location)).visit_id
        return tickets.of_visit(connection, visit_id), visits.contacts_of(connection, visit_id)


@on_both
def test_a_device_and_a_fault_are_enough(staff_client: Browser, desk: Desk) -> None:
    answer = staff_client.send(PAGE, on=PAGE, **LEAST)

    assert answer.status_code == 303
    (ticket,), (owner,) = left(desk, answer.location)
    assert (ticket.device, ticket.fault, ticket.stage) == ("Handheld console", "Does not charge", "received")
    assert not owner.reachable


def test_the_page_after_it_shows_the_number_large_and_where_to_print(staff_client: Browser) -> None:
    location = staff_client.send(PAGE, on=PAGE, **LEAST).location

    page = staff_client.get(location).text

    said = spoken(number_of(location))
    assert f'<p class="number">{said}</p>' in page
    assert f'href="/bench/{said}/docket"' in page
    assert f'href="/bench/{said}/label"' in page
    assert "cannot be told anything" in page


@pytest.mark.parametrize(
    "field", ["name", "phone", "email", "device-0", "fault-0", "kind-0", "needed_by", "language", "A second person"]
)
def test_each_field_says_what_it_is_for(staff_client: Browser, field: str) -> None:
    """Art. 5(1)(c) and 13(1)(c) GDPR: nothing is asked for without a purpose."""
    page = staff_client.get(PAGE).text
    named = f'<label for="{field}">' if f'<label for="{field}">' in page else f"<legend>{field}"

    told = page.partition(named)[2].partition("</label>" if named.startswith("<label") else "</legend>")[0]

    assert '<span class="hint">' in told


def test_nothing_that_may_stay_empty_is_filled_in_or_ticked(staff_client: Browser) -> None:
    """Art. 25(2) GDPR: by default no more than is needed."""
    page = staff_client.get(PAGE).text

    assert " checked" not in page
    for field in ("name", "phone", "email", "needed_by", "second_name", "second_phone", "second_email"):
        assert re.search(rf'<input id="{field}"[^>]* value=""', page), field


def test_contact_and_wishes_are_kept(staff_client: Browser, desk: Desk) -> None:
    typed = LEAST | {
        "kind": "phone",
        "name": "Ada Marsh",
        "phone": "07700 900123",
        "email": "ada@example.org",
        "phone_is_on_bench": "1",
        "language": "de",
        "needed_by": "2026-03-20",
        "express": "1",
        "second_name": "Bo Marsh",
        "second_phone": "07700 900456",
        "second_may": ["told", "collect"],
    }

    (ticket,), (owner, second) = left(desk, staff_client.send(PAGE, on=PAGE, **typed).location)

    assert (ticket.kind, ticket.needed_by, ticket.express) == ("phone", date(2026, 3, 20), True)
    assert (owner.name, owner.phone, owner.email) == ("Ada Marsh", "+447700900123", "ada@example.org")
    assert owner.phone_is_on_bench
    assert (second.name, second.may_be_told, second.may_agree, second.may_collect) == ("Bo Marsh", True, False, True)


@on_both
def test_another_device_makes_room_and_keeps_what_was_typed(staff_client: Browser, desk: Desk) -> None:
    room = staff_client.send(PAGE, on=PAGE, **LEAST, name="Ada Marsh", another="1")
    assert room.status_code == 200
    assert 'value="Ada Marsh"' in room.text
    assert 'value="Handheld console"' in room.text
    assert room.text.count('name="device"') == 2

    answer = staff_client.post(
        PAGE,
        data=hidden_fields(room.text, PAGE)
        | {
            "device": ["Handheld console", "Camera"],
            "fault": ["Does not charge", "Shutter stuck"],
            "kind": ["", "camera"],
        },
    )

    both, _contacts = left(desk, answer.location)
    assert [ticket.device for ticket in both] == ["Handheld console", "Camera"]


def test_room_for_a_device_that_stays_empty_makes_no_ticket(staff_client: Browser, desk: Desk) -> None:
    answer = staff_client.send(PAGE, on=PAGE, device=["Camera", " "], fault=["Shutter stuck", ""], kind=["", ""])

    assert len(left(desk, answer.location)[0]) == 1


@on_both
def test_the_same_form_sent_twice_takes_in_once(staff_client: Browser, desk: Desk) -> None:
    page = staff_client.get(PAGE).text
    form = hidden_fields(page, PAGE) | LEAST

    first, second = (staff_client.post(PAGE, data=form).location for _time in range(2))

    assert first == second
    with desk.reading() as connection:
        assert tickets.count_open(connection) == 1


@pytest.mark.parametrize(
    ("fields", "at_fault"),
    [
        ({"device": ""}, "The device is missing"),
        ({"device": "x" * 10_000}, "at most 120 fit"),
        ({"name": "n" * 10_000}, "at most 120 fit"),
        ({"fault": "f" * 10_000}, "at most 4000 fit"),
        ({"phone": "12"}, "phone"),
        ({"email": "nobody"}, "e-mail"),
        ({"kind": "spaceship"}, "spaceship"),
        ({"language": "xx"}, "xx"),
        ({"needed_by": "soon"}, "soon"),
        ({"second_name": "", "second_phone": "07700 900456"}, "second person"),
    ],
)
def test_what_does_not_fit_is_told_and_the_rest_stays_typed(
    staff_client: Browser, desk: Desk, fields: dict[str, str], at_fault: str
) -> None:
    typed = {"device": "Camera", "fault": "Shutter stuck", "name": "Ada Marsh"} | fields

    answer = staff_client.send(PAGE, on=PAGE, **typed)

    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert at_fault in answer.text
    for text in typed.values():
        assert text in answer.text
    with desk.reading() as connection:
        assert tickets.count_open(connection) == 0


def test_the_contact_of_an_earlier_visit_is_copied_by_its_number(staff_client: Browser, taken_in: TakenIn) -> None:
    page = staff_client.get(PAGE, query_string={"like": spoken(taken_in.numbers[0])}).text

    for copied in ('value="Ada Marsh"', 'value="ada@example.org"', 'value="+447700900123"'):
        assert copied in page


@pytest.mark.parametrize("like", ["12", "zebra", "57240"])
def test_an_earlier_visit_that_is_not_there_is_told_beside_its_field(staff_client: Browser, like: str) -> None:
    answer = staff_client.get(PAGE, query_string={"like": like})

    assert answer.status_code in (404, 422)
    assert "Copy the contact" in answer.text
    assert f'value="{like}"' in answer.text


def test_terms_are_accepted_only_by_a_tick(staff_client: Browser, desk: Desk) -> None:
    def accepted(location: str) -> list[str]:
        with desk.reading() as connection:
            found = acceptances.of_visit(connection, find(connection, number_of(location)).visit_id)
        return [each.how for each in found]

    without = staff_client.send(PAGE, on=PAGE, **LEAST).location
    ticked = staff_client.send(PAGE, on=PAGE, **LEAST, terms="draft-1").location

    assert accepted(without) == []
    assert accepted(ticked) == ["tick"]


def test_terms_are_accepted_afterwards_too(staff_client: Browser, desk: Desk) -> None:
    location = staff_client.send(PAGE, on=PAGE, **LEAST).location
    page = staff_client.get(location).text
    assert "are not accepted yet" in page

    action = location.replace("taken-in", "terms")
    staff_client.post(action, data=hidden_fields(page, action))

    assert "The terms (version draft-1) were accepted" in staff_client.get(location).text


def test_a_form_without_the_sessions_token_takes_nothing_in(staff_client: Browser, desk: Desk) -> None:
    assert hidden(staff_client.get(PAGE).text, "csrf_token")

    answer = staff_client.post(PAGE, data=LEAST)

    assert answer.status_code == 400
    with desk.reading() as connection:
        assert tickets.count_open(connection) == 0

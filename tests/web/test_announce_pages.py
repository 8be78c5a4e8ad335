"""A device announced before it is posted: the public form, its sheet, its page, and the parcel at the bench."""

from __future__ import annotations

import re

import pytest
from werkzeug.test import TestResponse

from portal.actions.announce import MOST_BY_ADDRESS
from portal.actions.desk import Desk, find
from portal.rules.numbers import spoken
from portal.store import announcements, journal, policies, tickets, visits
from portal.store.announcements import Announcement
from portal.store.tickets import OpenTicket
from tests.web.browser import Browser, hidden_fields
from tests.web.conftest import on_both

FORM = {
    "name": "Ada Marsh",
    "email": "ada@example.org",
    "phone": "",
    "return_address": "Ada Marsh\n1 Example Road\nExampleton",
    "kind": "console",
    "device": "Console, white",
    "fault": "No picture since the storm.",
    "declared": "120.50",
    "item": ["power supply", "cable", "", ""],
    "count": ["", "2", "", ""],
    "battery": "sound",
}


@pytest.fixture
def posting(desk: Desk) -> Desk:
    """A shop that takes devices by post."""
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection)) or ""
        changed = document.replace("announcing = false", 'announcing = true\npacking = { en = "Use the long box." }')
        policies.add(connection, changed, desk.clock.now(), None)
    return desk


def announce(client: Browser, **typed: object) -> TestResponse:
    return client.post("/announce", data=FORM | {"deed_key": "a" * 32} | typed)


def all_open(desk: Desk) -> list[OpenTicket]:
    with desk.reading() as connection:
        return tickets.open_tickets(connection)


def announced(client: Browser) -> tuple[str, str]:
    """The path of the sheet of a device just announced, and its number."""
    sheet = announce(client).location
    return sheet, sheet.rsplit("/", 1)[-1]


def stored(desk: Desk, number: str) -> Announcement:
    with desk.reading() as connection:
        found = announcements.of_ticket(connection, find(connection, number).id)
    assert found is not None
    return found


def test_it_is_off_by_default(client: Browser, desk: Desk) -> None:
    assert client.get("/announce").status_code == 404
    assert announce(client).status_code == 404
    assert "/announce" not in client.get("/").text
    assert all_open(desk) == []


def test_the_front_door_leads_to_the_form_where_the_shop_takes_devices_by_post(client: Browser, posting: Desk) -> None:
    assert 'href="/announce"' in client.get("/").text
    assert client.get("/announce").status_code == 200


@on_both
def test_a_device_is_announced_and_followed_under_its_link(client: Browser, posting: Desk) -> None:
    sheet, number = announced(client)

    page = client.get(sheet.partition("/parcel/")[0]).text
    assert "We are expecting your device." in page
    assert "The sheet for your parcel" in page
    known = stored(posting, number)
    assert [(item.what, item.count) for item in known.items] == [("power supply", 1), ("cable", 2)]
    assert (known.return_address, known.declared_minor) == (FORM["return_address"], 12_050)


def test_the_sheet_has_the_number_a_code_the_shops_address_and_how_to_pack(client: Browser, posting: Desk) -> None:
    sheet, number = announced(client)

    page = client.get(sheet).text

    for expected in (number, "<svg", "1 Example Lane", "2 × cable", "Wrap it", "Use the long box.", "is not posted"):
        assert expected in page
    for secret in ("Ada", "ada@example.org", "Example Road"):  # a parcel passes through many hands
        assert secret not in page


@pytest.mark.parametrize("battery", ["damaged", "unknown"])
def test_a_battery_that_may_be_damaged_is_not_sent_and_nothing_typed_is_lost(
    client: Browser, posting: Desk, battery: str
) -> None:
    answer = announce(client, battery=battery)

    assert answer.status_code == 422
    assert "Please ask the shop first" in answer.text
    assert "No picture since the storm." in answer.text
    assert f'value="{battery}" checked' in answer.text
    assert all_open(posting) == []


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"battery": ""}, "The answer about the battery is missing."),
        ({"battery": "perhaps"}, "The answer about the battery is missing."),
        ({"device": ""}, "The device is missing."),
        ({"kind": "submarine"}, "There is no kind “submarine”."),
        ({"email": "ada@"}, "ada@"),
        ({"email": "", "phone": ""}, "Please give an e-mail address or a phone number"),
        ({"phone": "12"}, "12"),
        ({"declared": "lots"}, "“lots” is not an amount."),
        ({"declared": "-5"}, "“-5” is not an amount."),
        ({"declared": "99999999"}, "too high"),
        ({"item": ["cable"], "count": ["-1"]}, "“-1” is not a count."),
        ({"item": ["cable"] * 61, "count": ["1"] * 61}, "61 lines are too many"),
        ({"return_address": "x" * 401}, "The return address"),
        ({"deed_key": "short"}, None),
    ],
)
def test_what_does_not_fit_is_told_and_comes_back_as_it_was_typed(
    client: Browser, posting: Desk, wrong: dict[str, object], says: str | None
) -> None:
    answer = announce(client, **wrong)

    if says is None:
        assert answer.status_code == 303  # a key that is none only means that the form counts each time
        return
    assert answer.status_code == 422
    assert says in answer.text
    assert "No picture since the storm." in answer.text
    assert all_open(posting) == []


def test_a_passcode_in_the_fault_is_asked_about_once(client: Browser, posting: Desk) -> None:
    typed = {"fault": "Dead screen. Passcode 4711."}
    asked = announce(client, **typed)
    assert asked.status_code == 422
    assert all_open(posting) == []

    assert announce(client, **typed, confirmed="1").status_code == 303
    assert 'name="confirmed" value="1"' in asked.text


def test_a_form_sent_twice_announces_once(client: Browser, posting: Desk) -> None:
    first, again = announce(client), announce(client)

    assert (first.status_code, again.status_code, again.location) == (303, 303, first.location)
    assert len(all_open(posting)) == 1


def test_a_stranger_cannot_fill_the_shops_list(client: Browser, posting: Desk) -> None:
    answers = [announce(client, deed_key=f"{place:032d}") for place in range(MOST_BY_ADDRESS + 1)]

    assert [answer.status_code for answer in answers] == [303] * MOST_BY_ADDRESS + [429]
    assert "No picture since the storm." in answers[-1].text
    assert len(all_open(posting)) == MOST_BY_ADDRESS


def test_another_site_cannot_announce(client: Browser, posting: Desk) -> None:
    answer = client.post("/announce", data=FORM, headers={"Origin": "https://elsewhere.example"})

    assert answer.status_code == 403
    assert all_open(posting) == []


def test_hostile_words_are_shown_as_words(client: Browser, posting: Desk) -> None:
    sheet = announce(client, device="<script>alert(1)</script>{{7*7}}").location

    assert "<script>alert" not in client.get(sheet).text
    assert "{{7*7}}" in client.get(sheet).text


def test_the_form_speaks_german_and_the_page_then_too(client: Browser, posting: Desk) -> None:
    assert '<html lang="de">' in client.get("/announce?lang=de").text
    client.post("/announce?lang=de", data=FORM)

    (each,) = all_open(posting)
    with posting.reading() as connection:
        assert visits.by_id(connection, each.ticket.visit_id).language == "de"


def receive(browser: Browser, number: str, **typed: object) -> TestResponse:
    at = f"/bench/{number}/receive"
    return browser.post(at, data=hidden_fields(browser.get(at).text, at) | typed)


def test_the_bench_matches_the_parcel_with_its_announcement(
    client: Browser, staff_client: Browser, posting: Desk
) -> None:
    sheet, number = announced(client)
    form = staff_client.get(f"/bench/{number}/receive").text
    for expected in ("1 Example Road", "£120.50", 'value="cable"', "No picture since the storm."):
        assert expected in form

    answer = receive(
        staff_client,
        number,
        item=["power supply", "cable", "disc", ""],
        count=["0", "2", "1", ""],
        parcel_damage="Corner crushed",
    )

    assert answer.status_code == 303
    page = staff_client.get(answer.location).text
    assert "“power supply”: 1 announced, 0 arrived." in page
    assert "“disc”: 0 announced, 1 arrived." in page
    assert "Corner crushed" in page
    with posting.reading() as connection:
        assert find(connection, number).stage == "received"
    assert client.get(sheet).location == sheet.partition("/parcel/")[0]  # the sheet has done its work


def test_a_parcel_whose_counts_do_not_fit_stays_announced_with_what_was_typed(
    client: Browser, staff_client: Browser, posting: Desk
) -> None:
    _sheet, number = announced(client)

    answer = receive(staff_client, number, item=["cable"], count=["many"], parcel_damage="Wet")

    assert answer.status_code == 422
    for typed in ('value="many"', 'value="Wet"'):
        assert typed in answer.text
    with posting.reading() as connection:
        assert find(connection, number).stage is None


def test_two_people_receive_a_parcel_once(client: Browser, staff_client: Browser, posting: Desk) -> None:
    _sheet, number = announced(client)
    at = f"/bench/{number}/receive"
    fields = hidden_fields(staff_client.get(at).text, at)
    receive(staff_client, number, item=["cable"], count=["2"])

    late = staff_client.post(at, data=fields | {"deed_key": "b" * 32, "item": ["cable"], "count": ["1"]})

    assert late.status_code == 409
    with posting.reading() as connection:
        entries = journal.entries(connection, find(connection, number).id)
    assert [entry.event for entry in entries].count("received_announced") == 1


def test_what_came_in_the_parcel_stands_in_the_record_to_begin_with(
    client: Browser, staff_client: Browser, posting: Desk
) -> None:
    _sheet, number = announced(client)
    receive(staff_client, number, item=["cable"], count=["2"])

    page = staff_client.get(f"/bench/{number}/record").text

    assert re.search(r'name="came_by" value="post" checked', page)
    assert 'name="item" value="cable"' in page


def test_the_ticket_leads_to_its_announcement_and_others_have_none(
    client: Browser, staff_client: Browser, posting: Desk, number: str
) -> None:
    _sheet, sent = announced(client)

    assert f"/bench/{sent}/receive" in staff_client.get(f"/bench/{sent}").text
    assert "/receive" not in staff_client.get(f"/bench/{spoken(number)}").text
    answer = staff_client.get(f"/bench/{spoken(number)}/receive")
    assert answer.status_code == 422
    assert "was not announced" in answer.text

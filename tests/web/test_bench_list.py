"""The bench's list: what the shop has, grouped by stage, and finding one among many."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from notifications.instants import FixedClock
from portal.actions import handover, moves, shelf
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.rules.numbers import spoken
from tests.web.browser import Browser
from tests.web.conftest import on_both


def headings(page: str) -> list[str]:
    return [" ".join(re.sub(r"<[^>]+>", " ", found).split()) for found in re.findall(r"<h2.*?</h2>", page, re.DOTALL)]


@on_both
def test_open_tickets_stand_under_the_heading_of_their_stage_in_the_shops_order(
    staff_client: Browser, desk: Desk, technician: By, taken_in: TakenIn
) -> None:
    second = take_in(desk, technician, NewVisit([NewDevice("Organ", "Hums")])).numbers[0]
    moves.move(desk, technician, second, "cleaning", confirmed=True)

    page = staff_client.get("/bench/").text

    assert headings(page) == ["Received 1", "Cleaning 1"]


@on_both
def test_the_list_shows_nobodys_contact(staff_client: Browser, taken_in: TakenIn) -> None:
    """Art. 25(2) GDPR: who looks over the bench sees devices, not people."""
    page = staff_client.get("/bench/").text

    assert spoken(taken_in.numbers[0]) in page
    for of_the_owner in ("Ada", "Marsh", "example.org", "900123"):
        assert of_the_owner not in page


def test_a_line_tells_how_long_the_device_has_stood_there_and_why_it_waits(
    staff_client: Browser, desk: Desk, technician: By, number: str, clock: FixedClock
) -> None:
    moves.hold(desk, technician, number, "part")
    clock.at += timedelta(days=3)
    staff_client.log_in("Robin")

    page = staff_client.get("/bench/").text

    assert "for 3 days" in page
    assert "on hold: waiting for a part" in page


def test_a_line_tells_place_express_and_the_day_it_is_needed(
    staff_client: Browser, desk: Desk, technician: By, number: str
) -> None:
    shelf.put(desk, technician, number, place="B 12", needed_by="2026-03-09", express=True)

    page = staff_client.get("/bench/").text

    for shown in ("B 12", "express", "needed by Mon, 9 Mar 2026"):
        assert shown in page


def test_a_device_that_has_left_is_no_longer_listed(
    staff_client: Browser, desk: Desk, technician: By, number: str
) -> None:
    handover.return_unrepaired(desk, technician, number, why="Too dear")

    page = staff_client.get("/bench/").text

    assert spoken(number) not in page
    assert "there is no open repair" in page


def test_the_bench_is_not_shown_to_a_stranger(client: Browser, number: str) -> None:
    for path in ("/bench/", f"/bench/{spoken(number)}", "/bench/take-in", "/bench/find?q=ada"):
        answer = client.get(path)

        assert answer.status_code == 302, path
        assert answer.location.startswith("/login"), path


@pytest.mark.parametrize("spelling", ["{0}-{1}", "{0}{1}", "{0} {1}", "{0}.{1}", "http://bench.test/bench/{0}-{1}"])
def test_a_number_in_any_spelling_leads_straight_to_its_ticket(
    staff_client: Browser, number: str, spelling: str
) -> None:
    asked = spelling.format(number[:-1], number[-1])

    answer = staff_client.get("/bench/find", query_string={"q": asked})

    assert (answer.status_code, answer.location) == (302, f"/bench/{spoken(number)}")


@pytest.mark.parametrize("asked", ["ada", "MARSH", "mar", "0123", "900 123", "handheld", "blue console"])
@on_both
def test_a_ticket_is_found_by_name_last_digits_of_the_phone_and_device(
    staff_client: Browser, number: str, asked: str
) -> None:
    found = staff_client.get("/bench/find", query_string={"q": asked}).text

    assert spoken(number) in found
    assert "Ada Marsh" in found


@pytest.mark.parametrize(
    "asked", ["", "zebra", "ada zebra", "0700", "%", "' OR 1=1 --", "<zebra>", "\x00", "💡", "a" * 10_000]
)
def test_what_is_not_there_is_not_found_and_breaks_nothing(staff_client: Browser, number: str, asked: str) -> None:
    answer = staff_client.get("/bench/find", query_string={"q": asked})

    assert answer.status_code == 200
    assert spoken(number) not in answer.text
    assert "Nothing found" in answer.text


def test_what_was_asked_stays_in_the_field(staff_client: Browser) -> None:
    page = staff_client.get("/bench/find", query_string={"q": 'a "zebra" <b>'}).text

    assert 'value="a &#34;zebra&#34; &lt;b&gt;"' in page

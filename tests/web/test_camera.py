"""A phone as a camera: it follows its owner’s desk, once that was wished and until it is stopped, and no other."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask

from notifications.instants import FixedClock
from portal.actions.desk import Desk
from portal.actions.intake import NewVisit, take_in
from portal.rules.numbers import spoken, with_check
from tests.conftest import BENCH
from tests.web.browser import Browser, hidden_fields


@pytest.fixture
def phone(app: Flask, staff_client: Browser) -> Browser:
    """Robin's phone, logged in beside Robin's desk."""
    browser = app.test_client()
    browser.log_in("Robin")
    return browser


@pytest.fixture
def other(desk: Desk, arrival: NewVisit) -> str:
    """Another ticket's number."""
    return take_in(desk, BENCH, arrival).numbers[0]


def point(browser: Browser, number: str) -> int:
    return browser.send(f"/bench/{spoken(number)}/camera", on="/account").status_code


def shown(browser: Browser) -> str:
    return browser.get("/bench/camera/at").json["number"]


def test_the_phone_shows_what_its_owner_opens_at_the_desk(
    staff_client: Browser, phone: Browser, number: str, other: str
) -> None:
    assert shown(phone) == ""
    assert point(staff_client, number) == 303
    assert shown(phone) == spoken(number)

    point(staff_client, other)

    assert shown(phone) == spoken(other)


def test_the_desk_that_was_used_last_is_followed(
    app: Flask, staff_client: Browser, phone: Browser, number: str, other: str, clock: FixedClock
) -> None:
    second_desk = app.test_client()
    second_desk.log_in("Robin")
    point(second_desk, other)
    clock.at += timedelta(seconds=1)

    point(staff_client, number)

    assert shown(phone) == spoken(number)


def test_nobody_elses_desk_is_followed(keeper_client: Browser, phone: Browser, number: str) -> None:
    point(keeper_client, number)

    assert shown(phone) == ""


def test_the_desks_pages_say_that_they_are_followed_and_stop_it(
    staff_client: Browser, phone: Browser, number: str
) -> None:
    page = f"/bench/{spoken(number)}"
    assert "camera follows this screen" not in staff_client.get(page).text
    point(staff_client, number)
    assert f'data-point="{page}/camera"' in staff_client.get(page).text

    staff_client.send("/bench/camera/stop", on="/account")

    assert "camera follows this screen" not in staff_client.get(page).text
    assert shown(phone) == ""


@pytest.mark.parametrize("path", ["/lock", "/logout"])
def test_a_desk_that_is_locked_or_left_is_not_followed(
    staff_client: Browser, phone: Browser, number: str, path: str
) -> None:
    point(staff_client, number)

    staff_client.send(path, on="/account")

    assert shown(phone) == ""


def test_a_desk_of_yesterday_is_not_followed(app: Flask, staff_client: Browser, number: str, clock: FixedClock) -> None:
    point(staff_client, number)
    clock.at += timedelta(hours=12, seconds=1)
    phone = app.test_client()
    phone.log_in("Robin")

    assert shown(phone) == ""


def test_a_camera_is_pointed_at_no_ticket_that_there_is_not(staff_client: Browser, phone: Browser, number: str) -> None:
    assert point(staff_client, with_check("999")) == 404
    assert point(staff_client, "999-1") == 422
    assert shown(phone) == ""


def test_without_scripts_the_phones_page_has_the_form_of_the_ticket_that_it_shows(
    staff_client: Browser, phone: Browser, number: str
) -> None:
    assert "No ticket is open for your camera" in phone.get("/bench/camera").text
    point(staff_client, number)

    page = phone.get("/bench/camera").text

    assert hidden_fields(page, f"/bench/{spoken(number)}/photos")["deed_key"]


def test_the_code_at_the_desk_opens_the_phones_page(app: Flask, staff_client: Browser, number: str) -> None:
    assert f"{app.extensions['benchwindow'].desk.links.base_url}/bench/camera" in (
        staff_client.get(f"/bench/{spoken(number)}/camera").text
    )
    assert staff_client.get("/BENCH/CAMERA").status_code == 200

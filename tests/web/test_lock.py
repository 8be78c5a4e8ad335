"""A shared device on the bench: locked in a moment, opened by PIN by whoever works there next."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask

from notifications.instants import FixedClock
from portal.actions import people
from portal.actions.desk import By, Desk
from tests.web.browser import PASSWORD, Browser, hidden_fields
from tests.web.test_login import ACCOUNT, is_in, with_cookie

PIN = "481516"


@pytest.fixture
def locked(staff_client: Browser, desk: Desk, technician: By, keeper: By) -> Browser:
    """Robin's device, locked; Robin and Kim have the same PIN."""
    people.set_pin(desk, technician, PASSWORD, PIN)
    people.set_pin(desk, keeper, PASSWORD, PIN)
    answer = staff_client.send("/lock", on=ACCOUNT)
    assert (answer.status_code, answer.location) == (303, "/unlock")
    return staff_client


def test_a_locked_device_shows_nothing_but_who_may_open_it(locked: Browser) -> None:
    answer = locked.get(ACCOUNT)
    page = locked.get("/unlock").text

    assert (answer.status_code, answer.location) == (302, "/unlock?next=/account")
    assert "<option>Kim</option>" in page
    assert "<option>Robin</option>" in page


def test_a_copied_cookie_is_locked_with_the_device(app: Flask, staff_client: Browser, technician: By) -> None:
    copied = staff_client.get_cookie("bench").value

    staff_client.send("/lock", on=ACCOUNT)

    assert not is_in(with_cookie(app, copied))


def test_the_same_person_goes_on_where_they_were(locked: Browser) -> None:
    answer = locked.send("/unlock", on="/unlock?next=/account", name="Robin", pin=PIN, next="/account")

    assert answer.location == "/account"
    assert "Robin" in locked.get(ACCOUNT).text


def test_another_person_takes_over_as_themselves(locked: Browser) -> None:
    locked.send("/unlock", on="/unlock", name="Kim", pin=PIN)

    assert locked.get("/shop/people").status_code == 200


def test_a_device_locked_in_the_evening_is_opened_by_pin_in_the_morning(locked: Browser, clock: FixedClock) -> None:
    clock.at += timedelta(hours=16)

    locked.send("/unlock", on="/unlock", name="Robin", pin=PIN)

    assert is_in(locked)


def test_a_device_left_unlocked_overnight_wants_the_password(staff_client: Browser, clock: FixedClock) -> None:
    clock.at += timedelta(hours=16)

    assert staff_client.get("/unlock").location == "/login"


def test_a_wrong_pin_is_told_and_opens_nothing(locked: Browser) -> None:
    answer = locked.send("/unlock", on="/unlock", name="Kim", pin="000001")

    assert answer.status_code == 422
    assert "This PIN does not fit" in answer.text
    assert "<option selected>Kim</option>" in answer.text
    assert not is_in(locked)


def test_after_five_wrong_pins_the_password_is_wanted(locked: Browser) -> None:
    for _try in range(5):
        locked.send("/unlock", on="/unlock", name="Kim", pin="000001")

    answer = locked.send("/unlock", on="/unlock", name="Kim", pin=PIN)

    assert answer.status_code == 403
    assert 'autocomplete="current-password"' in answer.text
    assert locked.get("/unlock").location == "/login"
    assert locked.log_in("Robin").status_code == 303


def test_a_device_without_a_login_is_not_opened_by_pin(client: Browser, desk: Desk, technician: By) -> None:
    people.set_pin(desk, technician, PASSWORD, PIN)

    client.send("/unlock", on="/login", name="Robin", pin=PIN)

    assert client.get("/unlock").location == "/login"
    assert not is_in(client)


def test_a_locked_device_can_be_logged_in_on_with_a_password(locked: Browser) -> None:
    answer = locked.send("/login", on="/unlock", name="Kim", password=PASSWORD)

    assert answer.status_code == 303
    assert "Kim" in locked.get(ACCOUNT).text


def test_what_was_typed_when_the_device_was_locked_is_kept(locked: Browser) -> None:
    asked = locked.send("/bench/1234/note", on="/unlock", text="New battery, see tray")
    fields = hidden_fields(asked.text, "/unlock")

    page = locked.post("/unlock", data={**fields, "name": "Robin", "pin": PIN}).text

    assert "New battery, see tray" in page
    assert hidden_fields(page, "/bench/1234/note")["text"] == "New battery, see tray"

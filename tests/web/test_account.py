"""One's own account, and the keeper's page of people."""

from __future__ import annotations

import html
import re
from datetime import timedelta

import pyotp
import pytest
from flask import Flask
from sqlalchemy import select

from portal.actions import people
from portal.actions.desk import COMMAND, Desk
from portal.store import policies, tables
from tests.web.browser import PASSWORD, Browser, hidden, hidden_fields
from tests.web.test_login import ACCOUNT, is_in, with_cookie

ANOTHER = "copper kettle under the viaduct"
PEOPLE = "/shop/people"


def test_a_new_password_ends_all_other_logins_and_this_one_goes_on(app: Flask, staff_client: Browser) -> None:
    """OWASP ASVS 5.0 7.4.3."""
    other = app.test_client()
    other.log_in("Robin")
    copied = staff_client.get_cookie("bench").value

    answer = staff_client.send("/account/password", on=ACCOUNT, old=PASSWORD, password=ANOTHER)

    assert (answer.status_code, answer.location) == (303, "/account?saved=1")
    assert is_in(staff_client)
    assert not is_in(other)
    assert not is_in(with_cookie(app, copied))
    assert other.log_in("Robin", ANOTHER).status_code == 303


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("wrong", ANOTHER, "not your present password"),
        (PASSWORD, "too short", "9 characters; at least 15"),
        (PASSWORD, "password password password", "easy to guess"),
        (PASSWORD, "Robin Robin Robin", "easy to guess"),
    ],
)
def test_a_password_that_does_not_do_is_told_and_changes_nothing(
    app: Flask, staff_client: Browser, old: str, new: str, told: str
) -> None:
    answer = staff_client.send("/account/password", on=ACCOUNT, old=old, password=new)

    assert answer.status_code == 422
    assert told in html.unescape(answer.text)
    assert 'aria-invalid="true"' in answer.text
    assert app.test_client().log_in("Robin").status_code == 303


def test_a_pin_is_set_with_ones_password(staff_client: Browser) -> None:
    staff_client.send("/account/pin", on=ACCOUNT, pin="481516", own_password=PASSWORD)
    staff_client.send("/lock", on=ACCOUNT)

    assert staff_client.send("/unlock", on="/unlock", name="Robin", pin="481516").status_code == 303


def test_a_pin_is_not_set_without_it(staff_client: Browser) -> None:
    answer = staff_client.send("/account/pin", on=ACCOUNT, pin="481516", own_password="wrong")

    assert answer.status_code == 422
    assert "<dt>PIN</dt><dd>none</dd>" in answer.text


def test_a_second_factor_is_set_up_by_scanning_and_typing_a_code(app: Flask, staff_client: Browser, desk: Desk) -> None:
    page = staff_client.get("/account/second-factor").text
    fields = hidden_fields(page, "/account/second-factor")
    now = desk.clock.now()
    code = pyotp.TOTP(fields["factor"]).at(now)

    answer = staff_client.post("/account/second-factor", data={**fields, "code": code, "own_password": PASSWORD})

    assert answer.status_code == 303
    assert "<svg" in page
    assert is_in(staff_client)
    assert app.test_client().log_in("Robin").status_code == 422
    desk.clock.at += timedelta(minutes=1)
    code = pyotp.TOTP(fields["factor"]).at(desk.clock.now())
    assert app.test_client().log_in("Robin", code=code).status_code == 303


def test_a_mistyped_code_keeps_the_factor_that_was_scanned(staff_client: Browser) -> None:
    fields = hidden_fields(staff_client.get("/account/second-factor").text, "/account/second-factor")

    again = staff_client.post("/account/second-factor", data={**fields, "code": "000000", "own_password": PASSWORD})

    assert again.status_code == 422
    assert hidden(again.text, "factor") == fields["factor"]


def test_the_factor_is_kept_nowhere_until_it_is_proven(staff_client: Browser, desk: Desk) -> None:
    factor = hidden(staff_client.get("/account/second-factor").text, "factor")

    with desk.reading() as connection:
        assert factor not in repr(connection.execute(select(tables.staff)).all())
    with staff_client.session_transaction() as session:
        assert factor not in repr(dict(session))


def ask_keepers_for_a_second_factor(desk: Desk) -> None:
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection))
        kept = re.sub(r"(?ms)^\[people\].*?(?=^\[)", "", document)
        asked = f"{kept}\n[people]\nkeepers_need_second_factor = true\n"
        policies.add(connection, asked, desk.clock.now(), None)


def test_a_keeper_sets_a_second_factor_up_first_where_the_policy_asks_for_it(
    keeper_client: Browser, staff_client: Browser, desk: Desk
) -> None:
    ask_keepers_for_a_second_factor(desk)

    for path in (PEOPLE, ACCOUNT):
        assert keeper_client.get(path).location == "/account/second-factor"
    assert is_in(staff_client)

    fields = hidden_fields(keeper_client.get("/account/second-factor").text, "/account/second-factor")
    code = pyotp.TOTP(fields["factor"]).at(desk.clock.now())
    keeper_client.post("/account/second-factor", data={**fields, "code": code, "own_password": PASSWORD})
    assert keeper_client.get(PEOPLE).status_code == 200

    dropped = keeper_client.send("/account/second-factor/drop", on="/account/second-factor", own_password=PASSWORD)
    assert "has to stay" in dropped.text


def test_ending_the_other_logins_keeps_this_one(app: Flask, staff_client: Browser) -> None:
    lost = app.test_client()
    lost.log_in("Robin")

    staff_client.send("/account/logins/end", on=ACCOUNT, own_password=PASSWORD)

    assert is_in(staff_client)
    assert not is_in(lost)


def test_the_keeper_adds_somebody(app: Flask, keeper_client: Browser) -> None:
    answer = keeper_client.send(
        f"{PEOPLE}/add", on=PEOPLE, name="Sam", role="bench", password=ANOTHER, own_password=PASSWORD
    )

    assert answer.location == "/shop/people?done=add"
    assert app.test_client().log_in("Sam", ANOTHER).status_code == 303


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"name": ""}, "The name is missing"),
        ({"name": "kim"}, "There is a “kim” already"),
        ({"name": "x" * 10_000}, "at most 40 fit"),
        ({"role": "admin"}, "There is no role “admin”"),
        ({"password": "short"}, "at least 15"),
        ({"own_password": "wrong"}, "not your present password"),
    ],
)
def test_what_does_not_fit_is_told_and_the_name_stays_typed(keeper_client: Browser, typed: dict, told: str) -> None:
    fields = {"name": "Sam", "role": "bench", "password": ANOTHER, "own_password": PASSWORD} | typed

    answer = keeper_client.send(f"{PEOPLE}/add", on=PEOPLE, **fields)

    assert answer.status_code == 422
    assert told in html.unescape(answer.text)
    assert ANOTHER not in answer.text
    assert f'name="name" autocomplete="off" required value="{fields["name"]}"' in answer.text


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", "{{7*7}}", "'; DROP TABLE staff; --", "🦔", "a\u202eb"])
def test_a_strange_name_is_shown_as_it_is_and_does_nothing(keeper_client: Browser, name: str) -> None:
    keeper_client.send(f"{PEOPLE}/add", on=PEOPLE, name=name, role="bench", password=ANOTHER, own_password=PASSWORD)

    page = keeper_client.get(PEOPLE).text

    assert html.escape(name.replace("\u202e", "")).replace("&#x27;", "&#39;") in page
    assert "<script>alert" not in page


@pytest.mark.parametrize("deed", ["reset", "role", "disable"])
def test_the_keepers_own_password_is_asked_for_each_deed(
    keeper_client: Browser, staff_client: Browser, deed: str
) -> None:
    """OWASP ASVS 5.0 7.5.1."""
    answer = keeper_client.send(
        f"{PEOPLE}/{deed}", on=PEOPLE, name="Robin", role="keeper", password=ANOTHER, own_password="wrong"
    )

    assert answer.status_code == 422
    assert is_in(staff_client)


def test_the_keeper_gives_a_new_password(app: Flask, keeper_client: Browser, staff_client: Browser) -> None:
    keeper_client.send(f"{PEOPLE}/reset", on=PEOPLE, name="Robin", password=ANOTHER, own_password=PASSWORD)

    assert not is_in(staff_client)
    assert app.test_client().log_in("Robin", ANOTHER).status_code == 303


def test_the_keeper_disables_somebody(keeper_client: Browser, staff_client: Browser) -> None:
    keeper_client.send(f"{PEOPLE}/disable", on=PEOPLE, name="Robin", own_password=PASSWORD)

    assert not is_in(staff_client)
    assert "disabled since" in keeper_client.get(PEOPLE).text


def test_the_last_keeper_is_told_to_make_another_first(keeper_client: Browser) -> None:
    answer = keeper_client.send(f"{PEOPLE}/disable", on=PEOPLE, name="Kim", own_password=PASSWORD)

    assert answer.status_code == 422
    assert "last keeper" in answer.text


def test_whoever_was_made_keeper_logs_in_anew_as_one(app: Flask, keeper_client: Browser, staff_client: Browser) -> None:
    keeper_client.send(f"{PEOPLE}/role", on=PEOPLE, name="Robin", role="keeper", own_password=PASSWORD)

    assert not is_in(staff_client)
    staff_client.log_in("Robin")
    assert staff_client.get(PEOPLE).status_code == 200


def test_nobody_of_that_name_is_told(keeper_client: Browser, desk: Desk) -> None:
    people.add_staff(desk, COMMAND, "Lee", ANOTHER, "keeper")

    answer = keeper_client.send(f"{PEOPLE}/disable", on=PEOPLE, name="Nobody", own_password=PASSWORD)

    assert answer.status_code == 404

"""Logging in by the form: where one comes to, what a stranger learns, and when a login is over."""

from __future__ import annotations

from datetime import timedelta

import pyotp
import pytest
from flask import Flask

from notifications.instants import FixedClock
from portal.actions import people
from portal.actions.desk import By, Desk
from portal.main import Installation
from portal.web.app import create_app
from tests.web.browser import PASSWORD, Browser
from tests.web.conftest import on_both

FACTOR = "JBSWY3DPEHPK3PXPJBSWY3DPEHPK3PXP"
ACCOUNT = "/account"


def is_in(browser: Browser) -> bool:
    return browser.get(ACCOUNT).status_code == 200


@on_both
def test_a_technician_logs_in_and_comes_to_the_bench(client: Browser, technician: By) -> None:
    answer = client.log_in("Robin")

    assert (answer.status_code, answer.location) == (303, "/bench/")
    assert is_in(client)


def test_a_stranger_is_asked_to_log_in_and_then_comes_where_they_wanted(client: Browser, technician: By) -> None:
    asked = client.get("/account?saved=1")
    assert (asked.status_code, asked.location) == (302, "/login?next=/account?saved%3D1")

    answer = client.send("/login", on=asked.location, name="Robin", password=PASSWORD, next="/account?saved=1")

    assert answer.location == "/account?saved=1"


@pytest.mark.parametrize(
    "target",
    [
        "https://evil.example/",
        "//evil.example/",
        "/\\evil.example/",
        "\\\\evil.example",
        "/\t/evil.example",
        "/\n/evil.example",
        "javascript:alert(1)",
        "evil.example",
        "/%0d%0aX-Evil: 1\r\nX-Evil: 1",
        "",
    ],
)
def test_a_login_leads_to_no_other_site(client: Browser, technician: By, target: str) -> None:
    answer = client.log_in("Robin", next=target)

    assert answer.location == "/bench/"
    assert "X-Evil" not in answer.headers


def test_the_answer_to_a_wrong_login_does_not_tell_whether_there_is_such_a_name(
    client: Browser, technician: By
) -> None:
    known = client.log_in("Robin", "not the password")
    unknown = client.log_in("Rowan", "not the password")

    assert known.status_code == unknown.status_code == 422
    assert known.text.replace("Robin", "Rowan") == unknown.text


def test_the_name_stays_in_the_form_and_the_password_does_not(client: Browser, technician: By) -> None:
    page = client.log_in("Robin", "not the password at all").text

    assert 'value="Robin"' in page
    assert "not the password at all" not in page


def test_the_form_lets_password_managers_and_pasting_help(client: Browser) -> None:
    """WCAG 2.2 success criterion 3.3.8; OWASP ASVS 5.0 6.2.7."""
    page = client.get("/login").text

    for kind in ("username", "current-password", "one-time-code"):
        assert f'autocomplete="{kind}"' in page
    assert "onpaste" not in page
    assert "maxlength" not in page


def test_a_keeper_with_a_second_factor_types_its_code(client: Browser, keeper: By, desk: Desk) -> None:
    factor = pyotp.TOTP(FACTOR)
    people.set_second_factor(desk, keeper, PASSWORD, FACTOR, factor.at(desk.clock.now() - timedelta(seconds=30)))

    assert client.log_in("Kim").status_code == 422
    assert client.log_in("Kim", code=factor.at(desk.clock.now())).status_code == 303


def test_too_many_tries_are_told_with_the_hour_of_the_next(client: Browser, technician: By) -> None:
    for _try in range(5):
        client.log_in("Robin", "wrong")

    answer = client.log_in("Robin")

    assert answer.status_code == 429
    assert answer.headers["Retry-After"] == "60"
    assert "09:01" in answer.text


@on_both
def test_two_hundred_wrong_logins_over_two_processes_with_made_up_addresses_are_stopped(
    installation: Installation, technician: By, client: Browser
) -> None:
    """Two sites on one database stand for two processes; no proxy is trusted, so X-Forwarded-For says nothing."""
    sites = [create_app(installation), create_app(installation)]
    browsers = [Browser(site, site.response_class) for site in sites]
    tokens = [browser.token("/login") for browser in browsers]

    answers = [
        browsers[place % 2].post(
            "/login",
            data={"csrf_token": tokens[place % 2], "name": "Robin", "password": "wrong"},
            headers={"X-Forwarded-For": f"198.51.100.{place}"},
        )
        for place in range(200)
    ]

    assert [answer.status_code for answer in answers].count(422) == 5
    assert {answer.status_code for answer in answers[5:]} == {429}
    owner = client.post(
        "/login",
        data={"csrf_token": client.token("/login"), "name": "Robin", "password": PASSWORD},
        environ_base={"REMOTE_ADDR": "203.0.113.9"},
    )
    assert owner.status_code == 303


def test_a_new_session_begins_with_the_login(client: Browser, technician: By) -> None:
    """OWASP ASVS 5.0 7.2.4: what was set before the login is worth nothing after it."""
    before = client.token("/login")
    client.log_in("Robin")

    assert client.token(ACCOUNT) != before
    with client.session_transaction() as session:
        assert set(session) <= {"_permanent", "_user_id", "_fresh", "_id", "seen", "csrf_token"}


def test_of_two_pages_opened_at_once_after_the_login_each_ones_forms_go(client: Browser, technician: By) -> None:
    client.log_in("Robin")
    cookie = client.get_cookie("bench").value
    first = client.token(ACCOUNT)
    client.set_cookie("bench", cookie)  # the other page was asked for before the first one came
    client.get("/bench/")

    answer = client.post("/account/pin", data={"csrf_token": first, "own_password": PASSWORD, "pin": "385201"})

    assert answer.status_code == 303


def test_logging_in_again_ends_the_login_that_was_there(app: Flask, staff_client: Browser, keeper: By) -> None:
    old = staff_client.get_cookie("bench").value

    staff_client.log_in("Kim")

    assert not is_in(with_cookie(app, old))


def test_logging_out_ends_the_login_so_that_a_copied_cookie_is_worth_nothing(app: Flask, staff_client: Browser) -> None:
    """OWASP ASVS 5.0 7.4.1."""
    copied = staff_client.get_cookie("bench").value

    answer = staff_client.send("/logout", on=ACCOUNT)

    assert (answer.status_code, answer.location) == (303, "/login")
    assert not is_in(staff_client)
    assert not is_in(with_cookie(app, copied))


@pytest.mark.parametrize("path", ["/logout", "/lock"])
def test_leaving_is_never_done_by_a_link(staff_client: Browser, path: str) -> None:
    assert staff_client.get(path).status_code == 405
    assert is_in(staff_client)


@pytest.mark.parametrize(
    "deed",
    [
        lambda desk, keeper: people.disable(desk, keeper, "Robin"),
        lambda desk, keeper: people.change_role(desk, keeper, "Robin", "keeper"),
        lambda desk, keeper: people.reset(desk, keeper, "Robin", "copper kettle under the viaduct"),
    ],
    ids=["disabled", "another role", "another password"],
)
def test_what_the_keeper_does_ends_the_login_with_the_next_request(
    staff_client: Browser, desk: Desk, keeper: By, deed
) -> None:
    assert is_in(staff_client)

    deed(desk, keeper)

    assert staff_client.get(ACCOUNT).location == "/login?next=/account"


def test_a_login_left_alone_for_twelve_hours_is_over(staff_client: Browser, clock: FixedClock) -> None:
    """OWASP ASVS 5.0 7.3.1."""
    clock.at += timedelta(hours=12)
    assert is_in(staff_client)

    clock.at += timedelta(hours=12, seconds=1)
    assert not is_in(staff_client)


def test_a_login_that_is_used_all_the_time_is_over_after_a_week(staff_client: Browser, clock: FixedClock) -> None:
    """OWASP ASVS 5.0 7.3.2."""
    hours = 0
    while is_in(staff_client):
        clock.at += timedelta(hours=6)
        hours += 6

    assert 7 * 24 < hours <= 7 * 24 + 6


def test_a_forged_cookie_is_nobody(app: Flask, staff_client: Browser) -> None:
    for cookie in ("", "x", "eyJfdXNlcl9pZCI6IjEifQ.aaaaaa.bbbbbb", staff_client.get_cookie("bench").value[:-3]):
        assert not is_in(with_cookie(app, cookie))


@pytest.mark.parametrize(
    ("base_url", "name", "secure"),
    [("http://bench.test", "bench", False), ("https://bench.test", "__Host-bench", True)],
)
def test_the_cookies_flags_follow_the_sites_address(
    installation: Installation, base_url: str, name: str, secure: bool
) -> None:
    """OWASP ASVS 5.0 3.3.1 to 3.3.4; over http a phone on the shop's own network must be able to log in too."""
    from dataclasses import replace

    site = create_app(replace(installation, settings=replace(installation.settings, base_url=base_url)))
    cookie = site.test_client().get("/login", base_url=base_url).headers["Set-Cookie"]

    assert cookie.startswith(f"{name}=")
    assert ("Secure" in cookie) is secure
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert "Path=/" in cookie
    assert "Domain" not in cookie


def with_cookie(app: Flask, value: str) -> Browser:
    browser = app.test_client()
    browser.set_cookie("bench", value)
    return browser

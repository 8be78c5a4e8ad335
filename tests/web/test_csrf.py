"""Forms: another site's are refused; one's own outlive the login under which they were opened."""

from __future__ import annotations

from datetime import timedelta

import pytest
from flask import Flask, request

from notifications.instants import FixedClock
from portal.actions.desk import By
from portal.web import guard
from tests.web.browser import PASSWORD, Browser, hidden_fields

NOTE = "Line one\nand “quotes” <b>& more</b>"


@pytest.fixture
def sent() -> list[list[tuple[str, str]]]:
    """What was posted to /trial."""
    return []


@pytest.fixture
def app(app: Flask, sent: list) -> Flask:
    """The site with /trial, a form of the bench's like any other."""

    def trial() -> str:
        sent.append([pair for pair in request.form.items(multi=True) if pair[0] != "csrf_token"])
        return "done"

    app.add_url_rule("/trial", "trial", lambda: guard.staff_only() or trial(), methods=["POST"])
    return app


def test_a_form_with_the_sessions_token_goes_through(staff_client: Browser, sent: list) -> None:
    assert staff_client.send("/trial", on="/account", text=NOTE).text == "done"
    assert sent == [[("text", NOTE)]]


@pytest.mark.parametrize("token", [None, "", "made up"])
def test_a_form_without_it_does_nothing(staff_client: Browser, sent: list, token: str | None) -> None:
    """OWASP ASVS 5.0 3.5.1."""
    answer = staff_client.post("/trial", data={"text": NOTE} | ({"csrf_token": token} if token is not None else {}))

    assert answer.status_code == 400
    assert sent == []


def test_another_persons_token_does_nothing(staff_client: Browser, keeper_client: Browser, sent: list) -> None:
    answer = staff_client.post("/trial", data={"csrf_token": keeper_client.token("/account"), "text": NOTE})

    assert answer.status_code == 400
    assert sent == []


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://localhost.evil.example"},
        {"Origin": "https://localhost"},
    ],
)
def test_a_form_that_another_site_sent_is_refused_even_with_the_token(
    staff_client: Browser, sent: list, headers: dict[str, str]
) -> None:
    answer = staff_client.send("/trial", on="/account", headers=headers, text=NOTE)

    assert answer.status_code == 403
    assert sent == []


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost"},
        {"Origin": "http://bench.test"},
        {"Sec-Fetch-Site": "none"},
        {},
    ],
)
def test_a_form_of_ones_own_goes_through(staff_client: Browser, sent: list, headers: dict[str, str]) -> None:
    assert staff_client.send("/trial", on="/account", headers=headers, text=NOTE).text == "done"


def test_a_form_left_open_for_hours_still_works(staff_client: Browser, sent: list, clock: FixedClock) -> None:
    token = staff_client.token("/account")
    clock.at += timedelta(hours=11)

    assert staff_client.post("/trial", data={"csrf_token": token, "text": NOTE}).text == "done"


def test_a_form_sent_after_the_login_ended_comes_back_once_one_is_logged_in(
    staff_client: Browser, sent: list, clock: FixedClock
) -> None:
    token = staff_client.token("/account")
    clock.at += timedelta(hours=15)
    fields = [("text", NOTE), ("tick", "a"), ("tick", "b"), ("deed_key", "k" * 32)]
    typed = {"csrf_token": token, "text": NOTE, "tick": ["a", "b"], "deed_key": "k" * 32}

    asked = staff_client.post("/trial?on=1", data=typed)
    assert (asked.status_code, sent) == (403, [])
    assert "Nothing you typed is lost" in asked.text

    luggage = hidden_fields(asked.text, "/login")
    page = staff_client.post("/login", data={**luggage, "name": "Robin", "password": PASSWORD}).text
    assert "has not been sent" in page
    assert "&lt;b&gt;&amp; more&lt;/b&gt;" in page
    assert sent == []

    again = hidden_fields(page, "/trial?on=1")
    assert staff_client.post("/trial?on=1", data=again | {"tick": ["a", "b"]}).text == "done"
    assert sent == [fields]


def test_a_wrong_password_on_the_way_loses_nothing(staff_client: Browser, sent: list, clock: FixedClock) -> None:
    token = staff_client.token("/account")
    clock.at += timedelta(hours=15)
    asked = staff_client.post("/trial", data={"csrf_token": token, "text": NOTE})
    luggage = hidden_fields(asked.text, "/login")

    wrong = staff_client.post("/login", data={**luggage, "name": "Robin", "password": "wrong"})

    assert hidden_fields(wrong.text, "/login")["kept"] == luggage["kept"]


def test_a_form_of_an_earlier_login_is_shown_again_and_not_done(app: Flask, staff_client: Browser, sent: list) -> None:
    old = staff_client.token("/account")
    staff_client.log_in("Robin")

    answer = staff_client.post("/trial", data={"csrf_token": old, "text": NOTE})

    assert (answer.status_code, sent) == (400, [])
    staff_client.post("/trial", data=hidden_fields(answer.text, "/trial"))
    assert sent == [[("text", NOTE)]]


def test_a_login_page_that_was_open_for_long_is_sent_once_more(client: Browser, technician: By) -> None:
    answer = client.post("/login", data={"csrf_token": "of a session long gone", "name": "Robin", "password": PASSWORD})

    assert answer.status_code == 400
    assert "Please send it once more" in answer.text
    assert 'value="Robin"' in answer.text
    assert PASSWORD not in answer.text


@pytest.mark.parametrize("path", ["/account/password", "/shop/people/add"])
def test_passwords_are_never_kept_in_a_page(client: Browser, path: str) -> None:
    answer = client.send(path, on="/login", password="copper kettle under the viaduct", own_password=PASSWORD)

    assert answer.status_code == 403
    assert "copper kettle" not in answer.text
    assert PASSWORD not in answer.text


@pytest.mark.parametrize(
    "kept",
    [
        "",
        "{",
        "[]",
        "null",
        '["https://evil.example/", [["a", "b"]], false]',
        '["//evil.example/", [["a", "b"]], false]',
        '["/trial", [["a"]], false]',
        '["/trial", [["a", 1]], false]',
        '["/trial", "ab", false]',
        '[1, [["a", "b"]], false]',
        "[" * 20_000,
    ],
)
def test_a_kept_form_that_is_none_or_leads_elsewhere_is_dropped(client: Browser, technician: By, kept: str) -> None:
    answer = client.log_in("Robin", kept=kept)

    assert (answer.status_code, answer.location) == (303, "/bench/")


def test_files_that_could_not_be_kept_are_told_of(client: Browser, technician: By, sent: list) -> None:
    from io import BytesIO

    asked = client.post(
        "/trial",
        data={"csrf_token": client.token("/login"), "text": NOTE, "photo": (BytesIO(b"picture"), "a.jpg")},
        content_type="multipart/form-data",
    )
    page = client.post(
        "/login", data={**hidden_fields(asked.text, "/login"), "name": "Robin", "password": PASSWORD}
    ).text

    assert "Files could not be kept" in page

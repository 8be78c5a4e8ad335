"""What every answer says to the browser, and whom the site believes about itself."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from flask import Flask, request

from portal.actions.desk import By
from portal.main import Installation
from portal.web.app import create_app
from tests.web.browser import PASSWORD, Browser

PAGES = ["/login", "/no-such-page", "/t/NOTALINK", "/static/paper.css", "/health"]
HOSTILE = {
    "Host": "evil.example",
    "X-Forwarded-Host": "evil.example",
    "Forwarded": "host=evil.example",
    "X-Original-URL": "/shop/people",
}
# OWASP ASVS 5.0 3.4.2 to 3.4.8; the values are ours, each stricter than what it asks.
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("header", HEADERS)
def test_every_answer_carries_the_header(client: Browser, path: str, header: str) -> None:
    assert client.get(path).headers[header] == HEADERS[header]


@pytest.mark.parametrize("path", PAGES)
def test_nothing_is_allowed_that_is_not_named(client: Browser, path: str) -> None:
    """OWASP ASVS 5.0 3.4.3 and 3.4.6."""
    policy = dict(part.split(" ", 1) for part in client.get(path).headers["Content-Security-Policy"].split("; "))

    for directive in ("default-src", "object-src", "base-uri", "frame-ancestors"):
        assert policy[directive] == "'none'"
    for directive in ("script-src", "style-src", "form-action", "connect-src"):
        assert policy[directive] == "'self'"
    assert "unsafe" not in str(policy)
    assert "http" not in str(policy)
    assert "*" not in str(policy)


@pytest.mark.parametrize("path", PAGES)
def test_no_answer_lets_another_site_read_it(client: Browser, path: str) -> None:
    """OWASP ASVS 5.0 3.4.2."""
    answer = client.get(path, headers={"Origin": "https://evil.example"})

    assert not [name for name in dict(answer.headers) if name.startswith("Access-Control-")]


def test_over_https_browsers_are_told_to_stay_there_for_a_year(installation: Installation) -> None:
    """OWASP ASVS 5.0 3.4.1."""
    site = create_app(replace(installation, settings=replace(installation.settings, base_url="https://bench.test")))

    told = site.test_client().get("/login", base_url="https://bench.test").headers["Strict-Transport-Security"]

    assert int(re.match(r"max-age=(\d+)", told)[1]) >= 31_536_000


def test_over_http_they_are_not(client: Browser) -> None:
    assert "Strict-Transport-Security" not in client.get("/login").headers


@pytest.mark.parametrize("path", ["/login", "/account", "/unlock", "/bench/", "/no-such-page", "/bench"])
def test_the_host_header_makes_no_link(client: Browser, path: str) -> None:
    answer = client.get(path, headers=HOSTILE)

    assert "evil.example" not in answer.text
    assert "evil.example" not in answer.headers.get("Location", "")


def test_the_host_header_leads_nobody_elsewhere_after_the_login(client: Browser, technician: By) -> None:
    token = client.token("/login")

    answer = client.post(
        "/login",
        data={"csrf_token": token, "name": "Robin", "password": PASSWORD},
        headers={**HOSTILE, "Host": "localhost"},
    )

    assert answer.location == "/bench/"


FORWARDED = {"X-Forwarded-For": "198.51.100.7, 203.0.113.9, 192.0.2.4", "X-Forwarded-Proto": "https"}


@pytest.mark.parametrize(
    ("proxies", "address"), [(0, "127.0.0.1"), (1, "192.0.2.4"), (2, "203.0.113.9"), (3, "198.51.100.7")]
)
def test_exactly_as_many_proxies_are_believed_as_the_setting_says(
    installation: Installation, proxies: int, address: str
) -> None:
    """Whoever wrote further to the left may have made it up."""
    site = create_app(replace(installation, settings=replace(installation.settings, proxies=proxies)))
    site.add_url_rule("/from", "from", lambda: str(request.remote_addr))

    assert site.test_client().get("/from", headers=FORWARDED).text == address


def test_more_proxies_than_there_are_believe_nobody(installation: Installation) -> None:
    site = create_app(replace(installation, settings=replace(installation.settings, proxies=3)))
    site.add_url_rule("/from", "from", lambda: str(request.remote_addr))

    assert site.test_client().get("/from", headers={"X-Forwarded-For": "198.51.100.7"}).text == "127.0.0.1"


@pytest.mark.parametrize("path", ["/t/NOTALINK", "/T/NOTALINK", "/static/paper.css", "/health"])
def test_what_is_the_same_for_everybody_neither_reads_nor_writes_the_staffs_cookie(
    app: Flask, staff_client: Browser, client: Browser, path: str
) -> None:
    with_login, without = staff_client.get(path), client.get(path)

    assert "Set-Cookie" not in with_login.headers
    assert "Set-Cookie" not in without.headers
    assert with_login.text == without.text


def test_no_page_carries_a_script_or_a_style_within_it(keeper_client: Browser) -> None:
    for path in ("/login", "/account", "/account/second-factor", "/shop/people"):
        page = keeper_client.get(path).text

        assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son[a-z]+=|javascript:", page), path
        assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", page), path

"""When something goes wrong the page says what to do, even where the database or the policy cannot be reached."""

from __future__ import annotations

import errno
import logging
import re

import pytest
from flask import Flask
from sqlalchemy.exc import OperationalError

from portal.actions.desk import NoPolicy
from portal.main import Installation
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.store import tables
from tests.web.browser import Browser

SECRET = "Ada Marsh, 07700 900123"


@pytest.fixture
def raising(app: Flask):
    """Makes an address that raises."""

    def make(fault: Exception) -> str:
        def view() -> str:
            raise fault

        app.add_url_rule("/trial", "trial", view)
        return "/trial"

    return make


def test_an_unexpected_fault_is_told_with_a_reference_and_nothing_else(
    client: Browser, raising, caplog: pytest.LogCaptureFixture
) -> None:
    """OWASP ASVS 5.0 16.5.1."""
    answer = client.get(raising(RuntimeError(SECRET)))

    assert answer.status_code == 500
    assert "Nothing was changed" in answer.text
    reference = re.search(r"reference: ([0-9a-f]{8})", answer.text)[1]
    assert reference in caplog.text
    assert "RuntimeError" not in answer.text
    assert "Traceback" not in answer.text


def test_the_log_says_where_it_happened_and_not_what_somebody_had_typed(
    client: Browser, raising, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)

    client.get(raising(RuntimeError(SECRET)))

    assert "RuntimeError" in caplog.text
    assert "test_errors.py" in caplog.text
    assert SECRET not in caplog.text


@pytest.mark.parametrize(
    "fault", [NoPolicy(), OperationalError("SELECT", {}, Exception(SECRET))], ids=["no policy", "no database"]
)
def test_a_site_that_is_not_ready_says_so(
    client: Browser, raising, fault: Exception, caplog: pytest.LogCaptureFixture
) -> None:
    answer = client.get(raising(fault))

    assert answer.status_code == 503
    assert answer.headers["Retry-After"] == "60"
    assert "try again in a few minutes" in answer.text
    assert SECRET not in caplog.text


def test_a_disk_that_is_full_is_told(client: Browser, raising) -> None:
    answer = client.get(raising(OSError(errno.ENOSPC, "No space left on device")))

    assert answer.status_code == 507
    assert "no room left. Nothing was kept." in answer.text


def test_another_fault_of_the_system_is_told_as_unexpected(client: Browser, raising) -> None:
    assert client.get(raising(OSError(errno.EIO, "Input/output error"))).status_code == 500


@pytest.mark.parametrize("path", ["/login", "/bench/", "/no-such-page"])
def test_the_page_of_an_error_needs_no_policy(client: Browser, installation: Installation, path: str) -> None:
    with installation.engine.begin() as connection:
        connection.execute(tables.policies.delete())
    installation.desk.shelf._parsed.clear()

    answer = client.get(path)

    assert answer.status_code in (302, 404, 503)
    assert "Traceback" not in answer.text


@pytest.mark.parametrize("path", ["/login", "/bench/", "/no-such-page"])
def test_the_page_of_an_error_needs_no_database(client: Browser, installation: Installation, path: str) -> None:
    with installation.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE policies RENAME TO gone")
        connection.exec_driver_sql("ALTER TABLE staff RENAME TO gone_too")

    answer = client.get(path)

    assert answer.status_code in (302, 404, 503)
    assert "<h1>That did not work</h1>" in answer.text or answer.status_code == 302


def test_a_refusal_that_no_page_caught_is_told_in_its_own_words(client: Browser, raising) -> None:
    answer = client.get(raising(Refused(say("The {thing} is shut.", thing="door <b>"))))

    assert answer.status_code == 422
    assert "The door &lt;b&gt; is shut." in answer.text


def test_a_page_that_is_not_there_says_what_to_do(client: Browser) -> None:
    answer = client.get("/no/such/page")

    assert answer.status_code == 404
    assert "look at the letters of the address" in answer.text


def test_too_much_at_once_is_told(client: Browser) -> None:
    """OWASP ASVS 5.0 5.2.1."""
    answer = client.post("/login", data={"name": "x" * 600_000})

    assert answer.status_code == 413
    assert "Send less text, or fewer or smaller files" in answer.text


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"\x00\xff\xfe", "application/x-www-form-urlencoded"),
        (b"name=%ff%fe%00&password=%ed%a0%80", "application/x-www-form-urlencoded"),
        (b"--x\r\nnonsense", "multipart/form-data; boundary=x"),
        (b"nonsense", "multipart/form-data"),
        (b'{"name": 1}', "application/json"),
        (b"&".join(b"a=1" for _field in range(2000)), "application/x-www-form-urlencoded"),
    ],
)
def test_a_body_that_makes_no_sense_is_no_fault_of_ours(client: Browser, body: bytes, kind: str) -> None:
    assert client.post("/login", data=body, content_type=kind).status_code in (400, 413, 415)


@pytest.mark.parametrize(
    "path", ["/%00", "/bench/%ff%fe", "/bench/%0d%0aX: 1", "/..%2f..%2fetc/passwd", "/static/../x"]
)
def test_an_address_that_makes_no_sense_is_no_fault_of_ours(staff_client: Browser, path: str) -> None:
    assert staff_client.get(path).status_code in (308, 404, 422)

"""Logging in: who comes in, what a stranger learns, and when a login is over."""

from __future__ import annotations

from tests.web.browser import PASSWORD, Browser


def test_a_technician_logs_in_and_comes_to_the_bench(client: Browser, technician) -> None:
    answer = client.log_in("Robin")

    assert (answer.status_code, answer.location) == (303, "/bench/")

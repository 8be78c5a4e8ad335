"""Given back as it came, in a real browser: work that had begun is marked first, on a narrow phone without scripts."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from portal.actions.desk import Desk
from portal.rules.numbers import spoken
from portal.rules.stages import Ending
from tests.actions.aftermath import ticket_of
from tests.browser.conftest import Open
from tests.browser.looks import looks_well
from tests.web.test_unrepaired_pages import arrive


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_work_that_had_begun_is_marked_and_the_device_goes_back(as_keeper: Open, desk: Desk, dark: bool) -> None:
    number, _ref = arrive(desk, "look first", "12")
    at = f"/bench/{spoken(number)}/unrepaired"
    looks_well(as_keeper(at, width=320, dark=dark))

    page = as_keeper(at, width=320, dark=dark, scripts=False)
    page.get_by_role("button", name="It had begun: charge it").click()
    expect(page.get_by_text("charged, since work on it had begun")).to_be_visible()
    page.get_by_label("Given back as it came, because").fill("No part to be had")
    page.get_by_role("button", name="Given back unrepaired").click()
    expect(page.get_by_role("alert")).to_contain_text("£60.50 is still to be paid")
    page.get_by_role("button", name="Given back all the same").click()
    expect(page.get_by_role("status")).to_contain_text("It is given back.")
    assert ticket_of(desk, number).ending is Ending.RETURNED

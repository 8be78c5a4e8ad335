"""The page on which customers choose their messages, in a real browser: small, dark, without scripts."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from portal.actions.desk import Desk
from portal.actions.intake import TakenIn
from tests.browser.conftest import Open
from tests.browser.test_customer_docket import sideways
from tests.web.test_customer_messages import contact_of, page_of


@pytest.mark.parametrize("dark", [False, True], ids=["day", "night"])
def test_axe_finds_nothing_and_nothing_scrolls_sideways(
    open_page: Open, desk: Desk, taken_in: TakenIn, dark: bool
) -> None:
    path = page_of(desk, taken_in)
    page = open_page("/", width=320, dark=dark)
    for each in (path, f"{path}?lang=de", f"{path}?kept=1", f"{path}/reminders"):
        page.goto(each)

        found = Axe().run(page)

        assert found.violations_count == 0, f"{each}: {found.generate_report()}"
        assert sideways(page) == 0, each


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_customer_finds_the_page_from_the_docket_and_wants_less(
    open_page: Open, desk: Desk, taken_in: TakenIn, scripts: bool
) -> None:
    page = open_page(page_of(desk, taken_in).removesuffix("/messages"), width=320, scripts=scripts)
    page.get_by_role("link", name="How you hear from us").click()
    page.get_by_label("only questions, and that it is ready").check()
    page.get_by_label("First").select_option("ring")
    page.get_by_role("button", name="Keep this").click()

    expect(page.get_by_role("status")).to_contain_text("Kept.")
    expect(page.get_by_label("only questions, and that it is ready")).to_be_checked()
    assert (contact_of(desk, taken_in).wants, contact_of(desk, taken_in).channels) == ("few", ["ring"])

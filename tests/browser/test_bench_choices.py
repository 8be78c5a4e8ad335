"""The bench's form of a customer's choices in a real browser: small, dark, sent with a press."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from portal.actions.desk import Desk
from portal.actions.intake import TakenIn
from tests.browser.conftest import Open
from tests.browser.test_customer_docket import sideways
from tests.web.test_bench_choices import address
from tests.web.test_customer_messages import contact_of


@pytest.mark.parametrize("dark", [False, True], ids=["day", "night"])
def test_axe_finds_nothing_and_nothing_scrolls_sideways(at_bench: Open, taken_in: TakenIn, dark: bool) -> None:
    page = at_bench(address(taken_in), width=320, dark=dark)

    found = Axe().run(page)

    assert found.violations_count == 0, found.generate_report()
    assert sideways(page) == 0


def test_somebody_asks_on_the_telephone_for_less(at_bench: Open, desk: Desk, taken_in: TakenIn) -> None:
    page = at_bench(address(taken_in).removesuffix("/choices") + "/phone", width=360)
    page.get_by_role("link", name="How they hear from us").click()
    page.get_by_label("only questions, and that it is ready").check()
    page.get_by_label("First").select_option("ring")
    page.get_by_role("button", name="Keep").click()

    expect(page.get_by_role("status")).to_contain_text("Kept.")
    assert (contact_of(desk, taken_in).wants, contact_of(desk, taken_in).channels[0]) == ("few", "ring")

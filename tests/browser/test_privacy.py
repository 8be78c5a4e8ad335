"""Your data, the record of processing and what a ticket holds: in a real browser they fit and can be read."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from portal.actions.desk import Desk
from portal.actions.intake import TakenIn
from portal.rules.numbers import spoken
from tests.browser.conftest import Open


def assert_reads_well(page: Page, width: int) -> None:
    found = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}).response
    assert [(fault["id"], [node["html"] for node in fault["nodes"]]) for fault in found["violations"]] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [320, 1280])
def test_the_notice_and_the_record_fit_and_are_read_by_everybody(
    open_page: Open, as_keeper: Open, taken_in: TakenIn, width: int, dark: bool
) -> None:
    own = "/t/" + taken_in.link.rsplit("/", 1)[-1]

    for page in (
        open_page("/privacy", width=width, dark=dark),
        open_page(f"{own}/privacy?lang=de", width=width, dark=dark),
        as_keeper("/shop/processing", width=width, dark=dark),
        as_keeper(f"/bench/{spoken(taken_in.numbers[0])}/data", width=width, dark=dark),
    ):
        assert_reads_well(page, width)


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_keeper_keeps_something_longer_and_the_customer_reads_so(
    as_keeper: Open, open_page: Open, desk: Desk, taken_in: TakenIn, scripts: bool
) -> None:
    page = as_keeper(f"/bench/{spoken(taken_in.numbers[0])}/data", width=360, scripts=scripts)
    page.get_by_label("Photos of the device").check()
    page.get_by_label("The reason").fill("Claim of the owner")
    page.get_by_label("Looked at again on").fill("2026-06-01")
    page.get_by_role("button", name="Keep it until then").click()
    expect(page.get_by_text("Claim of the owner")).to_be_visible()

    read = open_page("/t/" + taken_in.link.rsplit("/", 1)[-1], width=360, scripts=scripts)
    read.get_by_role("link", name="Your data").click()

    expect(read.get_by_text("stays for now")).to_be_visible()

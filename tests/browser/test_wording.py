"""The keeper's words in a browser: usable on a narrow phone, by a screen reader, and without scripts."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from portal.actions.desk import By, Desk
from portal.actions.wording import save_words
from portal.rules.wording import Part
from portal.rules.wording_occasions import OCCASIONS
from tests.browser.conftest import Open
from tests.browser.test_bench_pages import SMALL, looked_over

PAGE = "/shop/wording/ready/always/en"
READY = OCCASIONS["ready", "always"]


@pytest.fixture
def changed(desk: Desk, keeper: By) -> None:
    """Words with two revisions."""
    save_words(desk, keeper, READY, "en", {Part.SUBJECT: "First", Part.SMS: "Ready! {link}"})
    save_words(desk, keeper, READY, "en", {Part.SUBJECT: "Averylongwordthatnobodywouldtype" * 2})


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.usefixtures("changed")
def test_axe_finds_nothing_and_nothing_scrolls_sideways_at_320_px(as_keeper: Open, number: str, dark: bool) -> None:
    page = as_keeper("/shop/wording", width=320, dark=dark)
    faults = looked_over(page)
    page.goto(f"{PAGE}?ticket={number}")
    faults += looked_over(page)

    page.get_by_label("Text of the mail").fill("Hello {nmae}\n\n{oops")
    page.get_by_role("button", name="Save it").click()
    expect(page.get_by_role("alert")).to_contain_text("line 3: A brace is opened and not closed.")

    assert faults + looked_over(page) == []


@pytest.mark.usefixtures("changed")
def test_targets_are_48_px_high_and_fields_have_16_px_letters(as_keeper: Open) -> None:
    page = as_keeper(PAGE, width=360)

    assert page.evaluate(SMALL) == []


def test_words_are_changed_looked_at_and_saved_without_scripts(as_keeper: Open) -> None:
    page = as_keeper(PAGE, scripts=False)
    page.get_by_label("Subject of the mail").fill("{device}: come and get it")
    page.get_by_role("button", name="Look at it", exact=True).click()
    expect(page.get_by_text("Handheld console: come and get it")).to_be_visible()
    expect(page.get_by_text("Nothing is saved yet.")).to_be_visible()

    page.get_by_role("button", name="Save it").click()

    expect(page.get_by_role("status")).to_contain_text("It is saved")
    expect(page.get_by_label("Subject of the mail")).to_have_value("{device}: come and get it")

"""The keeper's overview in a real browser: it fits, everybody can read it, its pictures lead to what is behind them."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from portal.actions.desk import Desk
from portal.actions.intake import NewVisit
from portal.rules.numbers import spoken
from tests.actions.lives import one_counted_and_one_here
from tests.browser.conftest import Open
from tests.browser.looks import looks_well, reads_well


@pytest.fixture
def lived(desk: Desk, arrival: NewVisit) -> str:
    """The number of a repair that is here, beside one that has ended and is counted."""
    return one_counted_and_one_here(desk, arrival)


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [320, 1280])
def test_the_overview_and_each_picture_fit_and_are_read_by_everybody(
    lived: str, as_keeper: Open, width: int, dark: bool
) -> None:
    page = as_keeper("/shop/", width=width, dark=dark)
    looks_well(page, width)

    page.goto("/shop/figures/stay")
    reads_well(page, width)


def test_by_keys_alone_the_keeper_comes_from_a_picture_to_a_repair(lived: str, as_keeper: Open) -> None:
    page = as_keeper("/shop/")
    page.get_by_role("link", name="Large, with the repairs behind it (How old open repairs are)").focus()
    page.keyboard.press("Enter")
    page.get_by_role("link", name=spoken(lived)).focus()
    page.keyboard.press("Enter")

    expect(page.get_by_role("heading", level=1)).to_contain_text(spoken(lived))


def test_whoever_does_not_see_the_bars_reads_the_table(lived: str, as_keeper: Open) -> None:
    page = as_keeper("/shop/figures/stay", scripts=False)

    table = page.get_by_role("table", name="How long devices stay")
    expect(table.get_by_role("columnheader", name="Received")).to_be_visible()
    expect(table.get_by_role("row", name="4–8")).to_be_visible()

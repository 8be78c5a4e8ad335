"""The keeper's overview in a real browser: it fits, everybody can read it, its pictures lead to what is behind them."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from portal.actions import figures
from portal.actions.desk import Desk
from portal.actions.handover import hand_over
from portal.actions.intake import NewVisit, take_in
from portal.actions.moves import move
from portal.rules.numbers import spoken
from tests.actions.bench import WITHOUT_CODE
from tests.browser.conftest import Open
from tests.browser.test_privacy import assert_reads_well
from tests.conftest import BENCH


@pytest.fixture
def lived(desk: Desk, arrival: NewVisit) -> str:
    """One repair has ended and is counted; the number of another, which is here."""
    number, other = (take_in(desk, BENCH, arrival).numbers[0] for _each in range(2))
    for stage in ("board_work", "testing", "ready"):
        desk.clock.at += timedelta(days=1)
        move(desk, BENCH, number, stage)
    hand_over(desk, BENCH, number, WITHOUT_CODE)
    desk.clock.at += timedelta(days=1)
    figures.count_ended(desk, desk.clock.now())
    return other


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [320, 1280])
def test_the_overview_and_each_picture_fit_and_are_read_by_everybody(
    lived: str, as_keeper: Open, width: int, dark: bool
) -> None:
    page = as_keeper("/shop/", width=width, dark=dark)
    page.evaluate("for (const each of document.querySelectorAll('details')) each.open = true")
    assert_reads_well(page, width)

    page.goto("/shop/figures/stay")
    assert_reads_well(page, width)


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

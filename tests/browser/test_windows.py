"""When it will be ready: the bench promises a day and tells of a miss; both pages looked over with axe at 320 px."""

from __future__ import annotations

from datetime import timedelta

import pytest
from playwright.sync_api import expect

from portal.actions import windows
from portal.actions.desk import Desk
from portal.actions.moves import move
from portal.actions.shelf import put
from portal.rules.numbers import spoken
from tests.actions.pasts import a_past, kept
from tests.browser.conftest import Open
from tests.browser.looks import looks_well
from tests.conftest import BENCH, MONDAY
from tests.web.test_customer_docket import own_path


@pytest.fixture
def late(desk: Desk, number: str) -> str:
    """The number of a ticket that will miss the day that its customer reckons with, and the one it is needed by."""
    a_past(desk)
    windows.sweep(desk, desk.clock.now())
    first = kept(desk, number)
    assert first is not None
    assert first.last is not None
    desk.clock.at = MONDAY + (first.last - MONDAY.date()) - timedelta(days=1)
    move(desk, BENCH, number, "board_work")
    put(desk, BENCH, number, needed_by=first.last.isoformat())
    return number


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_today_leads_to_the_ticket_where_the_reason_is_chosen(late: str, at_bench: Open, scripts: bool) -> None:
    page = at_bench("/bench/today", scripts=scripts)
    page.get_by_role("region", name="Days that will probably be missed").get_by_role("link").first.click()
    page.get_by_label("The reason that they read").select_option("part")
    page.get_by_role("button", name="Tell the customer").click()

    expect(page.get_by_role("status")).to_contain_text("The customer is told.")
    expect(page.get_by_role("button", name="Tell the customer")).to_have_count(0)


@pytest.mark.parametrize("width", [320, 1280])
def test_the_pages_look_well(late: str, at_bench: Open, open_page: Open, desk: Desk, width: int) -> None:
    for path in (f"/bench/{spoken(late)}", f"/bench/{spoken(late)}/taken-in", "/bench/today"):
        looks_well(at_bench(path, width=width), width)
    looks_well(open_page(own_path(desk, late), width=width), width)

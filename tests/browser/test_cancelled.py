"""A cancellation entered at the bench in a real browser, on a narrow phone, without scripts."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from portal.actions.desk import Desk
from portal.rules.numbers import spoken
from tests.actions.test_cancelled import begun, by_post  # noqa: F401 (fixtures)
from tests.actions.test_cancelling import kept
from tests.browser.conftest import Open
from tests.browser.looks import looks_well
from tests.web.test_cancelling_pages import path_of


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_what_follows_is_read_then_entered(
    as_keeper: Open,
    open_page: Open,
    desk: Desk,
    begun: tuple[str, str],  # noqa: F811
    dark: bool,
) -> None:
    number, ref = begun
    page = as_keeper(f"/bench/{spoken(number)}/cancelled", width=320, dark=dark, scripts=False)
    page.get_by_role("checkbox", name="Replace the port, £48.50").check()
    page.get_by_label("How much of it was done by then?").fill("40")
    page.get_by_role("radio", name="by letter").check()
    page.get_by_label("Who said it to whom, and where the letter or e-mail lies").fill("Ada Marsh; in the folder")
    page.get_by_role("button", name="Show what follows").click()
    expect(page.get_by_role("alert")).to_contain_text("£19.40 are owed for the 40 % that were done by then")
    assert kept(desk, ref).cancelled_on is None
    page.get_by_role("button", name="Enter it").click()
    expect(page.get_by_text("Owed all the same: 40 %.")).to_be_visible()
    assert kept(desk, ref).owed_percent == 40

    for at in ("cancelled", "money", "questions"):
        looks_well(as_keeper(f"/bench/{spoken(number)}/{at}", width=320, dark=dark))
    looks_well(as_keeper("/bench/today", width=320, dark=dark))
    looks_well(open_page(path_of(desk, number, ref), width=320, dark=dark))


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_form_and_what_follows_have_no_fault_that_axe_finds(
    as_keeper: Open,
    begun: tuple[str, str],  # noqa: F811
    dark: bool,
) -> None:
    number, ref = begun
    page = as_keeper(f"/bench/{spoken(number)}/cancelled", width=320, dark=dark)
    looks_well(page)
    page.get_by_role("button", name="Show what follows").click()
    looks_well(page)
    page.get_by_role("checkbox", name="Replace the port").check()
    page.locator(f"#part-{ref}").fill("40")
    page.get_by_role("radio", name="by e-mail").check()
    page.get_by_label("Who said it to whom").fill("Ada Marsh")
    page.get_by_role("button", name="Show what follows").click()
    expect(page.get_by_role("button", name="Enter it")).to_be_visible()
    looks_well(page)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_customer_cancels_on_their_page(
    as_keeper: Open,
    open_page: Open,
    desk: Desk,
    begun: tuple[str, str],  # noqa: F811
    dark: bool,
) -> None:
    number, ref = begun
    page = open_page(path_of(desk, number, ref), width=320, dark=dark, scripts=False)
    page.get_by_role("link", name="Cancel what I agreed to").click()
    confirm = page.get_by_role("button", name="Confirm: I cancel this")
    expect(confirm).to_be_visible()
    here = page.url
    looks_well(open_page(here, width=320, dark=dark))
    confirm.click()
    expect(page.get_by_text("You cancelled this.")).to_be_visible()
    assert kept(desk, ref).cancelled_on is not None

    looks_well(open_page(here, width=320, dark=dark))
    looks_well(as_keeper(f"/bench/{spoken(number)}/cancelled", width=320, dark=dark))
    looks_well(as_keeper(f"/bench/{spoken(number)}", width=320, dark=dark))
    looks_well(as_keeper("/bench/today", width=320, dark=dark))

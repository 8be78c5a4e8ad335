"""The pages of people and logins: for keyboards, screen readers, small phones, and browsers without scripts."""

from __future__ import annotations

import pytest

from portal.actions import people
from portal.actions.desk import By, Desk
from tests.browser.conftest import Open
from tests.browser.looks import reads_well
from tests.web.browser import PASSWORD

PAGES = ["/login", "/account", "/account/second-factor", "/shop/people"]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_the_page_has_no_fault_that_axe_finds_and_fits_a_narrow_phone(
    open_page: Open, keeper: By, path: str, dark: bool
) -> None:
    """WCAG 2.2 AA, as far as axe-core sees it; 1.4.10 for 320 px."""
    page = open_page("/login", width=320, dark=dark)
    if path != "/login":
        page.fill("#name", "Kim")
        page.fill("#password", PASSWORD)
        page.press("#password", "Enter")
        page.goto(path)

    reads_well(page)


def test_a_shared_device_is_locked_and_opened_without_scripts(
    open_page: Open, technician: By, keeper: By, desk: Desk
) -> None:
    people.set_pin(desk, keeper, PASSWORD, "481516")
    page = open_page("/account", scripts=False)
    page.fill("#name", "Robin")
    page.fill("#password", PASSWORD)
    page.press("#password", "Enter")
    page.get_by_role("button", name="Lock").click()

    page.select_option("#name", "Kim")
    page.fill("#pin", "481516")
    page.get_by_role("button", name="Unlock").click()
    page.goto("/account")

    assert page.get_by_role("definition").first.inner_text() == "Kim"

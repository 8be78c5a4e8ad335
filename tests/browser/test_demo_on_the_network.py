"""The demo as a new user meets it: three sides of one repair in one window, and another browser over the network."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from notifications.delivery import send_due
from portal import demo, serving
from portal.demo import Demo
from portal.main import Installation, open_installation
from portal.web.app import create_app
from seed.year import Size
from tests.browser.conftest import served
from tests.browser.looks import looks_well

NOW = datetime(2026, 11, 25, 14, 30, tzinfo=UTC)


@pytest.fixture
def made(tmp_path: Path) -> Iterator[tuple[Demo, Installation]]:
    """A small demo that is being served to the network."""
    listening = serving.listen("0.0.0.0", 0)
    made = demo.make(tmp_path / "shop", "0.0.0.0", listening.getsockname()[1], now=NOW, size=Size(2, 4))
    house = open_installation(made.folder, environment={})
    try:
        with served(create_app(house), sockets=[listening]):
            yield made, house
    finally:
        house.engine.dispose()


def test_a_second_browser_follows_a_link_and_logs_in_over_the_machines_own_address(
    chrome: Browser, made: tuple[Demo, Installation]
) -> None:
    shop, _house = made
    with chrome.new_context(viewport={"width": 360, "height": 740}, locale="en-GB") as phone:
        page = phone.new_page()
        page.goto(shop.links[0][1])
        expect(page.get_by_text("Lantern Street Repairs").first).to_be_visible()

        page.goto(f"{shop.base_url}/login")
        page.get_by_label("Name").fill("Robin")
        page.get_by_label("Password").fill(demo.LOGINS["Robin"][1])
        page.get_by_role("button", name="Log in").click()
        page.wait_for_url("**/bench/")  # over plain http: the login's cookie came back


def test_a_new_user_asks_on_one_side_agrees_on_another_and_sees_the_bench_turn(
    chrome: Browser, made: tuple[Demo, Installation]
) -> None:
    shop, house = made
    with chrome.new_context(viewport={"width": 1280, "height": 900}, locale="en-GB") as window:
        page = window.new_page()
        page.goto(f"{shop.base_url}/try/")
        page.get_by_role("button", name="Come in as Kim, the keeper").click()
        page.wait_for_url("**/try/*-*")
        bench, keeper, customer = (page.frame_locator(f'iframe[title="{name}"]') for name in SIDES)

        bench.get_by_label("What was found").fill("The charging socket has a broken pin.")
        bench.get_by_label("In a few words, as the customer reads it").first.fill("A new charging socket")
        bench.get_by_label("For", exact=True).first.fill("Socket and fitting")
        bench.get_by_label("Each, GBP").first.fill("48.50")
        bench.get_by_role("button", name="Ask now").click()

        customer.get_by_role("link", name="Read our question and answer it").click()
        customer.get_by_label("To agree, type YES here").fill("YES")
        customer.get_by_role("button", name="Yes, do this and charge me £48.50").click()
        expect(bench.get_by_role("heading", name="More work: agreed")).to_be_visible()

        send_due(house.post_office)  # as the clock beside the demo does every five seconds
        number = page.url.rsplit("/", 1)[1]
        told = keeper.get_by_role("listitem").filter(has_text=f"Told: the answer, for their keeping {number} sent")
        expect(told).to_be_visible()


SIDES = ("Bench", "Keeper", "Customer")


@pytest.mark.parametrize("width", [360, 1280])
def test_the_three_sides_fit_and_have_no_fault_that_axe_finds(
    chrome: Browser, made: tuple[Demo, Installation], width: int
) -> None:
    shop, _house = made
    with chrome.new_context(viewport={"width": width, "height": 900}, locale="en-GB") as window:
        page = window.new_page()
        page.goto(f"{shop.base_url}/try/")
        looks_well(page, width)
        page.get_by_role("button", name="Come in as Kim, the keeper").click()
        page.wait_for_url("**/try/*-*")
        looks_well(page, width)

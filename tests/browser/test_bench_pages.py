"""The bench in a real browser: taken in with one thumb, moved, refused, surprised by a colleague; with and without
scripts, on a narrow phone, in the dark, and looked over by axe-core."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from portal.actions import moves, notes, shelf
from portal.actions.desk import By, Desk, find
from portal.rules.numbers import spoken
from tests.browser.conftest import Open

BOTH_WAYS = pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
MOST_TAPS = 8  # beside typing; a click is one, typing into one field is one


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


@BOTH_WAYS
def test_a_device_is_taken_in_within_eight_taps_at_360_px(at_bench: Open, desk: Desk, scripts: bool) -> None:
    page = at_bench("/bench/", width=360, scripts=scripts)
    taps = 0

    page.get_by_role("link", name="Take in", exact=True).click()
    taps += 1
    for label, text in (
        ("Name", "Ada Marsh"),
        ("E-mail", "ada@example.org"),
        ("What is it?", "Handheld console, blue"),
        ("What is wrong, in their words?", "Does not charge"),
    ):
        page.get_by_label(label).first.fill(text)
        taps += 1
    page.get_by_label("Kind").select_option("handheld")
    taps += 1
    press(page, "Take in")
    taps += 1

    print(f"taps for a quick take-in, typing counted: {taps}")
    assert taps <= MOST_TAPS
    number = page.locator(".number").inner_text()
    with desk.reading() as connection:
        ticket = find(connection, number)
    assert (ticket.device, ticket.kind, ticket.stage) == ("Handheld console, blue", "handheld", "received")


@BOTH_WAYS
def test_the_story_of_a_repair_from_the_bench(at_bench: Open, desk: Desk, number: str, scripts: bool) -> None:
    page = at_bench("/bench/", scripts=scripts)
    page.get_by_role("link", name=spoken(number)).click()

    page.get_by_role("button", name="to Cleaning").click()
    expect(page.get_by_role("status")).to_have_text("It is moved.")
    page.get_by_label("What should be remembered, or told?").fill("The socket is torn off.")
    press(page, "For the customer too")
    expect(page.get_by_role("status")).to_have_text("The note is in the journal.")
    page.locator("summary", has_text="Hold").click()
    press(page, "waiting for a part")

    page.get_by_role("button", name="to Board work").click()
    refused = page.get_by_role("alert")
    expect(refused).to_contain_text("The ticket is on hold: waiting for a part. Lift or change the hold first.")
    with desk.reading() as connection:
        ticket = find(connection, number)
    assert (ticket.stage, ticket.hold) == ("cleaning", "part")


@BOTH_WAYS
def test_a_form_on_a_stale_page_keeps_its_text_and_tells_what_happened(
    at_bench: Open, desk: Desk, technician: By, number: str, scripts: bool
) -> None:
    page = at_bench(f"/bench/{spoken(number)}", scripts=scripts)
    notes.note(desk, technician, number, "I was quicker.")

    field = page.get_by_label("What should be remembered, or told?")
    field.fill("My own words\nand more of them")
    press(page, "Keep for the bench")

    expect(page.get_by_role("alert")).to_contain_text("I was quicker.")
    expect(field).to_have_value("My own words\nand more of them")
    press(page, "Keep for the bench")
    expect(page.get_by_role("status")).to_have_text("The note is in the journal.")


def test_a_scanner_finds_a_ticket_from_anywhere(at_bench: Open, number: str) -> None:
    """A keyboard-wedge scanner types fast and ends with Enter."""
    page = at_bench("/bench/take-in")

    page.keyboard.type(f"HTTP://BENCH.TEST/BENCH/{number}")
    page.keyboard.press("Enter")

    page.wait_for_url(f"**/bench/{spoken(number)}")


def test_a_scan_into_a_field_stays_in_the_field(at_bench: Open, number: str) -> None:
    page = at_bench("/bench/take-in")
    field = page.get_by_label("What is it?")

    field.press_sequentially(number)

    expect(field).to_have_value(number)


CHAPTERS = ["/manual/gates", "/manual/settings", "/manual/proxy", "/manual/first-day"]


def pages_of(number: str) -> list[str]:
    here = f"/bench/{spoken(number)}"
    return ["/bench/", "/bench/take-in", "/bench/find?q=ada", here, f"{here}/taken-in", "/manual/", *CHAPTERS]


KEEPERS = [
    "/shop/",
    "/shop/sent",
    "/shop/stages",
    "/shop/stages/testing",
    "/shop/closed",
    "/shop/policy",
    "/shop/policy/revisions/1",
]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_axe_finds_nothing_and_nothing_scrolls_sideways_at_320_px(
    at_bench: Open, as_keeper: Open, desk: Desk, technician: By, number: str, dark: bool
) -> None:
    """WCAG 2.2 AA, as far as axe-core sees it; 1.4.10 for 320 px; every fold of the page open."""
    shelf.put(desk, technician, number, place="B 12", needed_by="2026-03-09", express=True)
    moves.hold(desk, technician, number, "part", why="A socket is on its way")
    notes.note(
        desk, technician, number, "Averylongwordthatnobodywouldtypebutsomebodyalwaysdoes" * 3, audience="customer"
    )
    faults = []

    for opened, paths in ((at_bench, pages_of(number)), (as_keeper, KEEPERS)):
        page = opened("/bench/", width=320, dark=dark)
        for path in paths:
            page.goto(path)
            faults += [(path, fault) for fault in looked_over(page)]

    assert faults == []


def test_axe_finds_nothing_in_a_refused_form(at_bench: Open, number: str) -> None:
    page = at_bench(f"/bench/{spoken(number)}", width=320)
    press(page, "Keep for the bench")
    expect(page.get_by_role("alert")).to_contain_text("The note is missing.")

    assert looked_over(page) == []


def looked_over(page: Page) -> list[str]:
    """What is wrong with a page: what axe-core says, and what sticks out at the side."""
    page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
    answer = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}).response
    faults = [f"{fault['id']}: {node['html']}" for fault in answer["violations"] for node in fault["nodes"]]
    width = page.evaluate("document.documentElement.scrollWidth")
    return [*faults, *([f"{width} px wide"] if width > 320 else [])]


SMALL = """
    [...document.querySelectorAll("button, .button, input:not([type=hidden]), select, textarea, summary")]
        .filter((each) => each.getClientRects().length)
        .map((each) => [each.closest(".tick") || each, each])
        .filter(([target, each]) => target.getBoundingClientRect().height < 48
            || (each.matches("input, select, textarea") && parseFloat(getComputedStyle(each).fontSize) < 16))
        .map(([, each]) => each.outerHTML)
"""


def test_targets_are_48_px_high_and_fields_have_16_px_letters(at_bench: Open, number: str) -> None:
    page = at_bench("/bench/", width=360)
    for path in pages_of(number):
        page.goto(path)
        page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")

        assert page.evaluate(SMALL) == [], path

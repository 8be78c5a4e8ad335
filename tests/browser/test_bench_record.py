"""A whole record at the bench, with one thumb: taps are counted and printed. A click is one, a field typed is one."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page

from portal.actions.desk import Desk, find
from portal.actions.intake import TakenIn
from portal.rules.numbers import spoken
from portal.rules.tray import settled
from portal.store import records, sheets, trays
from tests.browser.conftest import Open
from tests.browser.looks import reads_well

PAGES = ["record", "tray", "sheet", "parts", "photos"]


class Thumb:
    """Does things on a page and counts them."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.taps = 0

    def tick(self, name: str, value: str) -> None:
        self.page.locator(f'input[name="{name}"][value="{value}"]').check()
        self.taps += 1

    def type(self, selector: str, text: str) -> None:
        self.page.fill(selector, text)
        self.taps += 1

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()
        self.taps += 1


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_full_intake_record_takes_at_most_25_taps(at_bench: Open, desk: Desk, number: str, scripts: bool) -> None:
    thumb = Thumb(at_bench(f"/bench/{spoken(number)}/record", scripts=scripts))

    thumb.type("#shop_sees", "Picture socket loose, two pins lifted")
    for mark in ("scuffed edge", "dust in the vents"):
        thumb.tick("mark", mark)
    thumb.type('[name="place scuffed edge"]', "front left")
    for name, value in (
        ("seal", "broken"),
        ("liquid", "none seen"),
        ("backed_up", "yes"),
        ("may_reset", "yes"),
        ("signed_out", "no"),
        ("maker_warranty", "no"),
        ("may_open", "yes"),
        ("unlocking", "has no lock"),
    ):
        thumb.tick(name, value)
    thumb.type("#item-0", "power supply")
    thumb.type("#item-1", "disc")
    thumb.tick("inside", "1")
    thumb.press("Write it down")

    print(f"taps for a full intake record: {thumb.taps}")
    assert thumb.taps <= 25
    with desk.reading() as connection:
        written = records.newest(connection, find(connection, number).id)
    assert written is not None
    assert len(written.record.marks) == 2
    assert written.record.items[1].inside


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_tray_of_eight_lines_takes_at_most_30_taps(at_bench: Open, desk: Desk, number: str, scripts: bool) -> None:
    thumb = Thumb(at_bench(f"/bench/{spoken(number)}/tray", scripts=scripts))

    for count, what in enumerate(
        [
            "case screws",
            "shield screws (long)",
            "shield screws (short)",
            "metal shield",
            "thermal pads",
            "fan",
            "drive",
        ],
        start=1,
    ):
        thumb.type("#howmany", str(count))
        thumb.press(what)
    thumb.press("again: drive")
    thumb.press("All back in the device")

    print(f"taps for a tray of eight lines: {thumb.taps}")
    assert thumb.taps <= 30
    with desk.reading() as connection:
        lines = trays.lines(connection, find(connection, number).id)
    assert len(lines) == 8
    assert settled(lines)


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_sheet_of_twelve_checks_takes_at_most_16_taps(at_bench: Open, desk: Desk, number: str, scripts: bool) -> None:
    page = at_bench(f"/bench/{spoken(number)}/sheet", scripts=scripts)
    thumb = Thumb(page)
    keys = page.eval_on_selector_all('input[name="check"]', "all => all.map(one => one.value)")
    assert len(keys) == 12

    for key in keys:
        if key == "usb":
            thumb.type('[name="value usb"]', "5.02")
        else:
            thumb.tick(f"result {key}", "pass")
    thumb.press("Write it down")

    print(f"taps for a sheet of twelve checks: {thumb.taps}")
    assert thumb.taps <= 16
    with desk.reading() as connection:
        tried = sheets.sheet(connection, find(connection, number).id)
    assert {each.result for each in tried} == {"pass"}


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("path", PAGES)
def test_the_record_pages_have_no_fault_that_axe_finds_and_fit_a_narrow_phone(
    at_bench: Open, number: str, path: str, dark: bool
) -> None:
    """WCAG 2.2 AA, as far as axe-core sees it; 1.4.10 for 320 px."""
    page = at_bench(f"/bench/{spoken(number)}/{path}", width=320, dark=dark)

    reads_well(page)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_list_of_parts_and_the_customers_photos_have_no_fault_that_axe_finds(
    at_bench: Open, open_page: Open, taken_in: TakenIn, dark: bool
) -> None:
    photos = "/t/" + taken_in.link.rpartition("/")[2] + "/photos"

    for page in (at_bench("/bench/parts", width=320, dark=dark), open_page(photos, width=320, dark=dark)):
        reads_well(page)

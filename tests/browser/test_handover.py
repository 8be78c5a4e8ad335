"""Handing a device over at 360 px, with taps counted; the pages around it looked over with axe at 320 px."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from portal.actions import collection_codes
from portal.actions.desk import CUSTOMER, Desk, find
from portal.actions.giving_up import wish_on_page
from portal.actions.handover import hand_over
from portal.actions.intake import TakenIn
from portal.actions.ownership import question
from portal.actions.posting import Packed, post_back
from portal.actions.record import record
from portal.actions.return_ways import Wanted, choose
from portal.rules.intake_record import Item, Record
from portal.rules.numbers import spoken
from portal.rules.posting import PACKING
from portal.rules.stages import Ending
from portal.store import handovers, wishes
from tests.actions.bench import bring_to, with_code
from tests.browser.conftest import Open
from tests.browser.looks import looks_well
from tests.browser.test_bench_record import Thumb
from tests.conftest import BENCH
from tests.web.test_customer_docket import own_path, path_of

BY_POST = Wanted("post", address="12 Harbour Rise\nQuayhaven", confirmed=True)


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """The number of a ticket whose device is ready; two things were handed in with it."""
    record(desk, BENCH, number, Record(items=(Item("power supply"), Item("disc", 2))))
    bring_to(desk, number, "ready")
    return number


def code_of(desk: Desk, number: str) -> str:
    with desk.reading() as connection:
        return collection_codes.first(desk, connection, find(connection, number))


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_device_is_found_and_handed_over_in_at_most_eight_taps(
    at_bench: Open, desk: Desk, ready: str, scripts: bool
) -> None:
    page = at_bench("/bench/", scripts=scripts)
    thumb = Thumb(page)

    thumb.type('input[name="q"]', spoken(ready))
    thumb.press("Find")
    page.get_by_role("link", name="Hand over", exact=True).click()
    thumb.taps += 1
    thumb.type("#code", code_of(desk, ready).lower())
    thumb.tick("went", "0")
    thumb.tick("went", "1")
    thumb.tick("tested", "1")
    thumb.press("Handed over")

    print(f"taps to hand a device over, from the list: {thumb.taps}")
    assert thumb.taps <= 8
    expect(page.get_by_text("Warranty until Tue, 2 Jun 2026")).to_be_visible()
    with desk.reading() as connection:
        assert find(connection, ready).ending is Ending.COLLECTED


def sign(page: Page) -> None:
    """Draw two lines with a finger."""
    page.get_by_text("Signature on the screen").click()
    canvas = page.locator("canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    assert box is not None
    for start in (0.2, 0.6):
        page.mouse.move(box["x"] + box["width"] * start, box["y"] + box["height"] * 0.2)
        page.mouse.down()
        page.mouse.move(box["x"] + box["width"] * (start + 0.2), box["y"] + box["height"] * 0.8, steps=5)
        page.mouse.up()


def test_a_signature_is_drawn_cleared_drawn_again_and_kept(at_bench: Open, desk: Desk, ready: str) -> None:
    page = at_bench(f"/bench/{spoken(ready)}/handover")
    sign(page)
    page.get_by_role("button", name="Clear it").click()
    assert page.input_value('[name="strokes"]') == ""
    page.get_by_text("Signature on the screen").click()
    sign(page)
    page.fill("#code", "000000")
    page.get_by_role("button", name="Handed over", exact=True).click()

    expect(page.get_by_role("alert")).to_contain_text("This is not the code")
    assert page.input_value('[name="strokes"]') != ""  # it need not be signed again
    page.fill("#code", code_of(desk, ready))
    for place in ("0", "1"):
        page.locator(f'input[name="went"][value="{place}"]').check()
    page.get_by_role("button", name="Handed over", exact=True).click()
    page.wait_for_url("**/handed-over*")

    with desk.reading() as connection:
        ticket = find(connection, ready)
        went = handovers.newest(connection, ticket.id)
        assert went is not None
        strokes = wishes.signature(connection, ticket.id, went.entry)
    assert strokes is not None
    assert len(strokes) == 2
    (first, *_middle, last) = strokes[0]
    assert first == pytest.approx([200, 200], abs=15)
    assert last == pytest.approx([400, 800], abs=15)
    expect(page.locator("svg.signed path")).to_have_count(2)


def test_without_scripts_there_is_no_box_to_sign_in(at_bench: Open, ready: str) -> None:
    page = at_bench(f"/bench/{spoken(ready)}/handover", scripts=False)

    expect(page.locator("canvas")).to_be_hidden()


def test_the_customer_chooses_a_day_without_scripts(open_page: Open, desk: Desk, ready: str) -> None:
    page = open_page(own_path(desk, ready), scripts=False)
    page.get_by_role("link", name="Choose how you have it back").click()
    page.get_by_label("Which day?").first.select_option("2026-03-05")
    page.get_by_role("button", name="Choose this").first.click()

    expect(page.get_by_role("status")).to_contain_text("I come for it, Thu, 5 Mar 2026")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="Put the day into my calendar").click()
    assert waiting.value.suggested_filename == "collect.ics"


# Every page in the states it has, by name: how it comes to be, and its address.
STATES: dict[str, tuple[Callable[[Desk, str], object], str]] = {
    "handover": (lambda desk, number: choose(desk, CUSTOMER, number, Wanted("send", "2026-03-05", "Ben")), "handover"),
    "handed over": (lambda desk, number: hand_over(desk, BENCH, number, with_code(desk, number)), "handed-over"),
    "warranty card": (lambda desk, number: hand_over(desk, BENCH, number, with_code(desk, number)), "warranty"),
    "receipt": (lambda desk, number: hand_over(desk, BENCH, number, with_code(desk, number)), "receipt"),
    "no address yet": (lambda desk, number: None, "post"),
    "to post": (lambda desk, number: choose(desk, CUSTOMER, number, BY_POST), "post"),
    "posted": (
        lambda desk, number: (
            choose(desk, CUSTOMER, number, BY_POST),
            post_back(desk, BENCH, number, Packed("Carrier", "x" * 60, "2026-03-02", tuple(PACKING))),
        ),
        "post",
    ),
    "no wish": (lambda desk, number: None, "give-up"),
    "a wish": (lambda desk, number: wish_on_page(desk, number, True, "destroy", "GIVE UP", "en"), "give-up"),
    "claimed": (lambda desk, number: question(desk, BENCH, number, "A caller says it is hers."), "ownership"),
}


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("state", STATES)
def test_the_pages_of_the_bench_have_no_fault_that_axe_finds_and_fit_a_narrow_phone(
    as_keeper: Open, desk: Desk, ready: str, state: str, dark: bool
) -> None:
    come_to_be, path = STATES[state]
    come_to_be(desk, ready)
    width = 1280 if state in ("warranty card", "receipt") else 320  # these are made for paper
    page = as_keeper(f"/bench/{spoken(ready)}/{path}", width=width, dark=dark)

    looks_well(page, width)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("path", ["", "/collect", "/give-up/{number}"])
@pytest.mark.parametrize("link", ["own", "docket"])
def test_the_customers_pages_have_no_fault_that_axe_finds_and_fit_a_narrow_phone(
    open_page: Open, desk: Desk, taken_in: TakenIn, ready: str, link: str, path: str, dark: bool
) -> None:
    begin = own_path(desk, ready) if link == "own" else path_of(taken_in.link)
    page = open_page(begin + path.format(number=spoken(ready)), width=320, dark=dark)

    looks_well(page)

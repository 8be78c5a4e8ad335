"""The customer's page in a real browser: small, dark, printed, without scripts, for screen readers, and alive."""

from __future__ import annotations

import re

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from notifications.instants import FixedClock
from portal.actions import handover, links, moves, notes
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.rules.numbers import spoken
from tests.actions.bench import WITHOUT_CODE
from tests.browser.conftest import Open
from tests.conftest import BENCH

LONG = "Radio-with-an-uninterruptedly-long-compound-description-and-a-walnut-case, " * 2


@pytest.fixture
def paths(desk: Desk, technician: By, clock: FixedClock) -> dict[str, str]:
    """Pages in all their states, by name."""

    def handed_in(*devices: str, language: str = "") -> TakenIn:
        new = [NewDevice(device[:120], "Hums and smells.\nSometimes it does not.", "other") for device in devices]
        return take_in(desk, technician, NewVisit(new, name="Ada Marsh", language=language))

    def follow(taken: TakenIn) -> str:
        return "/t/" + taken.link.rsplit("/", 1)[-1]

    busy = handed_in("Handheld console, blue")
    moves.move(desk, technician, busy.numbers[0], "cleaning")
    notes.note(desk, technician, busy.numbers[0], "The socket is torn off the board.\n" + "x" * 90, audience="customer")
    moves.hold(desk, technician, busy.numbers[0], "part")
    several = handed_in(LONG, "Hand mixer")
    moves.hold(desk, technician, several.numbers[0], "customer")
    over, ready = handed_in("Phone"), handed_in("Laptop, 14 inch", language="de")
    for stage in ("board_work", "testing", "ready"):
        for taken in (over, ready):
            moves.move(desk, technician, taken.numbers[0], stage, confirmed=True)
    handover.hand_over(desk, BENCH, over.numbers[0], WITHOUT_CODE)
    renewed = handed_in("Amplifier")
    links.renew_docket(desk, technician, renewed.numbers[0])
    return {
        "busy": follow(busy),
        "several": follow(several),
        "over": follow(over),
        "ready, in German": follow(ready),
        "renewed": follow(renewed),
        "nowhere": "/t/nowhere",
        "front": "/",
        "lost": "/lost",
    }


def sideways(page: Page) -> int:
    """How many pixels the page scrolls sideways."""
    return page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")


@pytest.mark.parametrize("dark", [False, True], ids=["day", "night"])
def test_axe_finds_nothing(open_page: Open, paths: dict[str, str], dark: bool) -> None:
    page = open_page("/", dark=dark)
    for name, path in paths.items():
        page.goto(path)

        found = Axe().run(page)

        assert found.violations_count == 0, f"{name}: {found.generate_report()}"


@pytest.mark.parametrize("width", [320, 360, 1280])
def test_nothing_scrolls_sideways_even_with_wide_text(open_page: Open, paths: dict[str, str], width: int) -> None:
    """WCAG 2.2 SC 1.4.10 (reflow at 320 px), and the spacing that SC 1.4.12 asks a page to bear."""
    page = open_page("/", width=width)
    for name, path in paths.items():
        page.goto(path)
        for summary in page.locator("summary").all():
            summary.click()
        assert sideways(page) == 0, name

        page.evaluate(
            """() => { for (const e of document.querySelectorAll("*")) {
                e.style.lineHeight = "1.5"; e.style.letterSpacing = "0.12em"; e.style.wordSpacing = "0.16em"; } }"""
        )
        assert sideways(page) == 0, name


def test_the_pages_are_whole_without_scripts(open_page: Open, paths: dict[str, str]) -> None:
    rich, plain = open_page("/"), open_page("/", scripts=False)
    for name, path in paths.items():
        rich.goto(path)
        plain.goto(path)
        assert plain.locator("main").inner_text() == rich.locator("main").inner_text(), name


def test_the_terms_are_accepted_without_scripts(open_page: Open, taken_in: TakenIn) -> None:
    page = open_page("/t/" + taken_in.link.rsplit("/", 1)[-1], scripts=False)
    page.get_by_text("Read our terms", exact=True).click()
    page.get_by_role("button", name="I accept these terms").click()

    expect(page.get_by_text("Accepted on")).to_be_visible()


def test_whatever_is_touched_is_large_enough(open_page: Open, paths: dict[str, str]) -> None:
    """WCAG 2.2 SC 2.5.8: 24 px at least, but for links within a sentence."""
    page = open_page("/")
    for name, path in paths.items():
        page.goto(path)
        for target in page.locator("main button:visible, main input:visible, .letterhead a:visible").all():
            box = target.bounding_box()
            assert box is not None
            assert min(box["height"], box["width"]) >= 24, (name, target.inner_text())


def test_state_is_said_in_words(open_page: Open, paths: dict[str, str]) -> None:
    lines = open_page(paths["busy"]).get_by_role("list", name="The way through our workshop").get_by_role("listitem")

    said = [re.sub(r"\s+", " ", line) for line in lines.all_inner_texts()]

    assert [line.split(" ")[0] for line in said] == ["Received", "Cleaning", "Board", "Testing", "Ready"]
    assert "here now" in said[1]
    assert "still to come" in said[2]


def test_the_page_prints_black_on_white_without_what_is_for_the_screen(open_page: Open, paths: dict[str, str]) -> None:
    page = open_page(paths["busy"], dark=True)
    page.emulate_media(media="print")

    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.body).color") == "rgb(0, 0, 0)"
    expect(page.get_by_text("We never ask for card details")).to_be_hidden()


def test_news_comes_while_the_page_is_open_and_is_announced(
    open_page: Open, desk: Desk, technician: By, taken_in: TakenIn, number: str
) -> None:
    page = open_page("about:blank")
    page.clock.install()
    page.goto("/t/" + taken_in.link.rsplit("/", 1)[-1])
    expect(page.get_by_role("status")).to_have_text("")
    notes.note(desk, technician, number, "A new socket is fitted.", audience="customer")

    with page.expect_response("**/state"):
        page.clock.run_for(21_000)

    expect(page.get_by_text("A new socket is fitted.")).to_be_visible()
    expect(page.get_by_role("status")).to_have_text("There is news about your repair.")


def test_without_news_the_page_is_left_alone(open_page: Open, taken_in: TakenIn) -> None:
    page = open_page("about:blank")
    page.clock.install()
    page.goto("/t/" + taken_in.link.rsplit("/", 1)[-1])
    page.evaluate("document.querySelector('.sheet').dataset.mark = 'the same element'")

    with page.expect_response("**/state") as answer:
        page.clock.run_for(21_000)

    assert answer.value.status == 304
    assert page.locator(".sheet").get_attribute("data-mark") == "the same element"
    expect(page.get_by_role("status")).to_have_text("")


def test_a_link_that_is_renewed_while_the_page_is_open_ends_it(
    open_page: Open, desk: Desk, technician: By, taken_in: TakenIn, number: str
) -> None:
    page = open_page("about:blank")
    page.clock.install()
    page.goto("/t/" + taken_in.link.rsplit("/", 1)[-1])
    links.renew_docket(desk, technician, number)

    page.clock.run_for(21_000)

    expect(page.get_by_role("heading", level=1)).to_have_text("This link has been replaced")


def test_somebody_with_a_number_and_an_address_gets_their_link_again(
    open_page: Open, taken_in: TakenIn, number: str
) -> None:
    page = open_page("/")
    page.get_by_label("The number of your repair").fill(spoken(number))
    page.get_by_role("button", name="Go on").click()
    expect(page.get_by_label("The number of your repair")).to_have_value(spoken(number))
    page.get_by_label("Your e-mail address or phone number").fill("ada@example.org")
    page.get_by_role("button", name="Send the link").click()

    expect(page.get_by_text("a message with the link is on its way")).to_be_visible()

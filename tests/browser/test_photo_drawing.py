"""A pair is compared with mouse, touch and keys; rectangles are drawn with the pointer and moved with keys."""

from __future__ import annotations

import re
from random import Random

import numpy as np
import pytest
from playwright.sync_api import Locator, Page, expect

from portal.actions import photo_pairs as pair_deeds
from portal.actions import photos as photo_deeds
from portal.actions.desk import find
from portal.actions.intake import TakenIn
from portal.main import Installation
from portal.pictures.drawing import HIDING
from portal.rules.numbers import spoken
from portal.rules.picture_parts import Part
from portal.store import photo_pairs
from seed.pictures import Album
from tests.actions.photo_shelf import kept, names
from tests.browser.conftest import Open
from tests.browser.looks import faults
from tests.conftest import BENCH
from tests.pictures.samples import opened

VIEW = ("board", "0")


@pytest.fixture(scope="module")
def album() -> Album:
    """The demo's own pictures."""
    return Album(Random(1))


@pytest.fixture
def refs(installation: Installation, number: str, album: Album) -> list[str]:
    """A before and an after of the same board, a pair."""
    desk, files = installation.desk, installation.photo_files
    for moment in ("before", "after"):
        photo_deeds.keep(desk, files, BENCH, number, album.photo(VIEW, moment), moment=moment)
    found = [photo.ref for photo in kept(installation.desk, number)]
    pair_deeds.keep(desk, files, BENCH, number, *found, album.aligned(VIEW))
    return found


def customers(taken_in: TakenIn) -> str:
    return "/t/" + taken_in.link.rpartition("/")[2] + "/photos"


def seen_from(page: Page) -> float:
    """From how many per cent of the width on the after picture is seen."""
    clip = page.locator(".compared img").nth(1).evaluate("picture => picture.style.clipPath")
    found = re.search(r"([\d.]+)%\)$", clip)
    assert found
    return float(found[1])


def laid_over(page: Page) -> Locator:
    """The two pictures over one another, once both are there."""
    stage = page.locator(".compared")
    stage.scroll_into_view_if_needed()
    page.wait_for_function(
        "[...document.querySelectorAll('.compared img')].every(each => each.complete && each.naturalWidth)"
    )
    return stage


def box(place: Locator) -> dict[str, float]:
    found = place.bounding_box()
    assert found
    return dict(found)


def test_a_pair_is_compared_by_keys_and_by_mouse(open_page: Open, taken_in: TakenIn, refs: list[str]) -> None:
    page = open_page(customers(taken_in), width=360)
    slider = page.get_by_role("slider", name="Where the photo from before ends")
    expect(slider).to_have_value("50")
    expect(page.locator(".compared-ends")).to_have_text("before the repairafter the repair")

    slider.focus()
    page.keyboard.press("ArrowRight")
    assert seen_from(page) == 51
    page.keyboard.press("Home")
    assert seen_from(page) == 0
    page.keyboard.press("End")
    assert seen_from(page) == 100

    edge = box(laid_over(page))
    page.mouse.move(edge["x"] + edge["width"] * 0.2, edge["y"] + 50)
    page.mouse.down()
    assert seen_from(page) == pytest.approx(20, abs=1)
    page.mouse.move(edge["x"] + edge["width"] * 0.7, edge["y"] + 60, steps=4)
    page.mouse.up()
    assert seen_from(page) == pytest.approx(70, abs=1)
    page.mouse.move(edge["x"] + edge["width"] * 0.1, edge["y"] + 60)
    assert seen_from(page) == pytest.approx(70, abs=1), "let go, it stays"


def test_a_pair_is_compared_by_touch(open_page: Open, taken_in: TakenIn, refs: list[str]) -> None:
    page = open_page(customers(taken_in), width=360)
    edge = box(laid_over(page))
    fingers = page.context.new_cdp_session(page)

    def touch(kind: str, *places: float) -> None:
        points = [{"x": edge["x"] + edge["width"] * place, "y": edge["y"] + 60} for place in places]
        fingers.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    slider = page.get_by_role("slider", name="Where the photo from before ends")
    touch("touchStart", 0.3)
    expect(slider).to_have_value("30")
    touch("touchMove", 0.5)
    touch("touchMove", 0.8)
    expect(slider).to_have_value("80")
    touch("touchEnd")
    assert seen_from(page) == 80


def test_without_scripts_both_are_side_by_side(
    open_page: Open, installation: Installation, taken_in: TakenIn, refs: list[str]
) -> None:
    (number,) = taken_in.numbers
    with installation.desk.reading() as connection:
        (pair,) = photo_pairs.of_ticket(connection, find(connection, number).id)
    page = open_page(customers(taken_in), width=700, scripts=False)

    before, after = (page.locator(f"img[src*='{ref}']") for ref in (pair.before, pair.shown_after))

    expect(page.get_by_role("slider")).to_have_count(0)
    assert box(before)["y"] == box(after)["y"]
    assert box(before)["x"] < box(after)["x"]


def test_they_can_be_seen_side_by_side_with_scripts_too(open_page: Open, taken_in: TakenIn, refs: list[str]) -> None:
    page = open_page(customers(taken_in), width=360)

    page.get_by_text("Side by side").click()

    expect(page.get_by_role("img", name="Before the repair").last).to_be_visible()


def test_a_rectangle_is_drawn_with_the_pointer_moved_with_keys_and_hidden(
    at_bench: Open, installation: Installation, number: str, refs: list[str]
) -> None:
    page = at_bench(f"/bench/{spoken(number)}/photos/{refs[0]}/hide", width=360)
    sheet = page.locator("[data-drawn-on]")
    sheet.scroll_into_view_if_needed()
    edge = box(sheet)

    page.mouse.move(edge["x"] + edge["width"] * 0.6, edge["y"] + edge["height"] * 0.5)
    page.mouse.down()
    page.mouse.move(edge["x"] + edge["width"] * 0.2, edge["y"] + edge["height"] * 0.25, steps=5)
    page.mouse.up()

    numbers = [float(page.locator(f"#{field}-0").input_value()) for field in ("left", "top", "width", "height")]
    assert numbers == pytest.approx([20, 25, 40, 25], abs=1)
    page.locator("#left-0").focus()
    page.keyboard.press("ArrowUp")
    left = float(page.locator("#left-0").input_value())
    assert left == pytest.approx(numbers[0] + 0.1)
    drawn = box(page.locator(".rectangle:visible"))
    assert drawn["x"] == pytest.approx(edge["x"] + edge["width"] * left / 100, abs=2)

    page.get_by_role("button", name="Hide for good").click()

    page.get_by_text("It is hidden for good.").wait_for()
    assert kept(installation.desk, number)[0].first_ref == refs[0]


def test_a_tap_draws_nothing_and_a_rectangle_can_be_taken_away(at_bench: Open, number: str, refs: list[str]) -> None:
    page = at_bench(f"/bench/{spoken(number)}/photos/{refs[0]}/point-out", width=360)
    sheet = page.locator("[data-drawn-on]")
    sheet.scroll_into_view_if_needed()
    edge = box(sheet)

    page.mouse.click(edge["x"] + 40, edge["y"] + 40)
    expect(page.locator("#left-0")).to_have_value("")
    for field, value in (("left", "10"), ("top", "10"), ("width", "20"), ("height", "20")):
        page.locator(f"#{field}-0").fill(value)
    expect(page.locator(".rectangle:visible")).to_have_count(1)
    page.get_by_role("button", name="Take rectangle 1 away").click()

    expect(page.locator(".rectangle:visible")).to_have_count(0)
    expect(page.locator("#left-0")).to_be_focused()
    expect(page.locator("#left-0")).to_have_value("")


def test_the_numbers_of_a_second_rectangle_are_shown_to_who_drew_it(
    at_bench: Open, number: str, refs: list[str]
) -> None:
    page = at_bench(f"/bench/{spoken(number)}/photos/{refs[0]}/hide", width=360)
    sheet = page.locator("[data-drawn-on]")
    sheet.scroll_into_view_if_needed()
    edge = box(sheet)

    for place in (0.1, 0.5):
        page.mouse.move(edge["x"] + edge["width"] * place, edge["y"] + 20)
        page.mouse.down()
        page.mouse.move(edge["x"] + edge["width"] * (place + 0.3), edge["y"] + 80, steps=3)
        page.mouse.up()

    expect(page.locator("#left-1")).to_be_visible()
    expect(page.locator("#left-1")).to_have_value(re.compile(r"^(49|50)\."))
    expect(page.locator(".rectangle:visible")).to_have_count(2)


def test_hiding_and_withdrawing_work_without_scripts(
    at_bench: Open, open_page: Open, installation: Installation, taken_in: TakenIn, refs: list[str]
) -> None:
    (number,) = taken_in.numbers
    files = installation.photo_files
    page = at_bench(f"/bench/{spoken(number)}/photos", width=360, scripts=False)
    page.get_by_role("link", name="Change photo 2").click()
    page.get_by_role("link", name="Hide parts of it").click()
    for field, value in (("left", "30"), ("top", "30"), ("width", "30"), ("height", "30")):
        page.locator(f"#{field}-0").fill(value)

    page.get_by_role("button", name="Hide for good").click()

    page.get_by_text("It is hidden for good.").wait_for()
    now = kept(installation.desk, number)[1].ref
    with installation.desk.reading() as connection:
        (pair,) = photo_pairs.of_ticket(connection, find(connection, number).id)
    assert names(files) == {refs[0], now, pair.aligned_ref}
    shown = open_page(customers(taken_in), width=360, scripts=False)
    expect(shown.locator(f"img[src*='{pair.aligned_ref}']")).to_be_visible()
    for ref in (now, str(pair.aligned_ref)):
        picture = opened(files.read(ref, "large") or b"")
        inside = np.asarray(picture.crop(Part(42, 42, 8, 8).pixels(picture.size))).astype(int)
        assert np.abs(inside - HIDING).max() <= 8

    page.get_by_role("link", name="Change photo 2").click()
    page.get_by_role("button", name="Withdraw this photo for good").click()

    page.get_by_role("link", name="Change photo 1").wait_for()
    assert names(files) == {refs[0]}


def test_something_is_pointed_out_without_scripts(
    at_bench: Open, installation: Installation, number: str, refs: list[str]
) -> None:
    page = at_bench(f"/bench/{spoken(number)}/photos/{refs[0]}/point-out", width=360, scripts=False)
    for field, value in (("left", "10"), ("top", "10"), ("width", "20.5"), ("height", "20")):
        page.locator(f"#{field}-0").fill(value)
    page.get_by_label("an arrow to it").check()

    page.get_by_role("button", name="For the customer too").click()

    page.get_by_text("A copy that points it out is there.").wait_for()
    assert len(kept(installation.desk, number)) == 3


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_the_pages_have_no_fault_that_axe_finds_and_fit_320_px(
    at_bench: Open, open_page: Open, taken_in: TakenIn, refs: list[str], scripts: bool
) -> None:
    bench = f"/bench/{spoken(taken_in.numbers[0])}/photos"
    pages = [at_bench(f"{bench}/{refs[0]}{page}", width=320) for page in ("", "/hide", "/point-out")] if scripts else []

    for page in (*pages, open_page(customers(taken_in), width=320, dark=not scripts)):
        assert faults(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 320

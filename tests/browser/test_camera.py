"""A phone as a camera beside a desk: what it shows is where its photos go, whatever happens at the desk."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from portal.actions.desk import Desk, find
from portal.actions.intake import NewVisit, take_in
from portal.rules.numbers import spoken
from portal.store import photos
from tests.browser.conftest import Open
from tests.browser.looks import reads_well
from tests.conftest import BENCH
from tests.pictures.conftest import _no_child_is_left  # noqa: F401 (here too)
from tests.pictures.samples import sharp


@pytest.fixture(scope="module")
def picture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sharp, bright picture."""
    file = tmp_path_factory.mktemp("pictures") / "picture.jpg"
    file.write_bytes(sharp())
    return file


@pytest.fixture
def other(desk: Desk, arrival: NewVisit) -> str:
    """Another ticket's number."""
    return take_in(desk, BENCH, arrival).numbers[0]


@pytest.fixture
def screen(at_bench: Open, number: str) -> Page:
    """Robin's desk, which the phone may follow."""
    page = at_bench(f"/bench/{spoken(number)}/photos", width=1280)
    page.get_by_role("link", name="A phone as camera").click()
    page.get_by_role("button", name="Let my phone follow this screen").click()
    page.get_by_text("Your phone follows this screen").wait_for()
    return page


@pytest.fixture
def phone(open_page: Open, screen: Page) -> Page:
    """Robin's phone, as the code on the screen opens it."""
    return open_page("/bench/camera", name="Robin", width=360)


def open_at_desk(screen: Page, number: str) -> None:
    """Open a ticket at the desk, and wait until its page has said so."""
    with screen.expect_response(lambda answer: answer.url.endswith(f"/{spoken(number)}/camera")):
        screen.goto(f"/bench/{spoken(number)}")


def count(desk: Desk, number: str) -> int:
    with desk.reading() as connection:
        return len(photos.of_ticket(connection, find(connection, number).id))


def is_sent(phone: Page, taken: int) -> None:
    phone.get_by_text(f"Taken here: {taken}").wait_for()
    expect(phone.locator("[data-waiting]")).to_be_hidden()


def test_the_phone_follows_the_desk_within_seconds(screen: Page, phone: Page, number: str, other: str) -> None:
    expect(phone.locator("[data-number]")).to_have_text(spoken(number))

    open_at_desk(screen, other)

    expect(phone.locator("[data-number]")).to_have_text(spoken(other), timeout=5_000)


def test_a_photo_goes_to_the_ticket_that_is_shown(
    screen: Page, phone: Page, desk: Desk, number: str, other: str, picture: Path
) -> None:
    open_at_desk(screen, other)
    expect(phone.locator("[data-number]")).to_have_text(spoken(other))

    phone.locator("#photo").set_input_files(picture)

    is_sent(phone, 1)
    assert (count(desk, number), count(desk, other)) == (0, 1)


def test_a_desk_that_moves_on_while_the_shutter_is_open_moves_no_photo(
    screen: Page, phone: Page, desk: Desk, number: str, other: str, picture: Path
) -> None:
    expect(phone.locator("[data-number]")).to_have_text(spoken(number))
    with phone.expect_file_chooser() as opened:
        phone.locator("#photo").click()
    open_at_desk(screen, other)
    phone.evaluate(
        "document.dispatchEvent(new Event('visibilitychange'))"
    )  # as on the way back from the phone's camera
    assert phone.locator("[data-number]").text_content() == spoken(number)

    opened.value.set_files(picture)

    phone.get_by_text(f"That photo went to {spoken(number)}").wait_for()
    expect(phone.locator("[data-waiting]")).to_be_hidden()
    expect(phone.locator("[data-number]")).to_have_text(spoken(other))
    assert (count(desk, number), count(desk, other)) == (1, 0)


def test_what_was_on_its_way_when_the_shutter_opened_changes_nothing(
    screen: Page, phone: Page, desk: Desk, number: str, other: str, picture: Path
) -> None:
    expect(phone.locator("[data-number]")).to_have_text(spoken(number))
    held: list[Route] = []
    lets_through = []
    phone.route("**/bench/camera/at", lambda route: route.continue_() if lets_through else held.append(route))
    with phone.expect_request("**/bench/camera/at"):
        open_at_desk(screen, other)
    with phone.expect_file_chooser() as opened:
        phone.locator("#photo").click()
    lets_through.append(True)
    with phone.expect_response("**/bench/camera/at"):
        for route in held:
            route.continue_()
    assert phone.locator("[data-number]").text_content() == spoken(number)

    opened.value.set_files(picture)

    phone.get_by_text(f"That photo went to {spoken(number)}").wait_for()
    expect(phone.locator("[data-waiting]")).to_be_hidden()
    assert (count(desk, number), count(desk, other)) == (1, 0)


def test_a_desk_that_stops_leaves_the_phone_without_a_ticket(screen: Page, phone: Page) -> None:
    screen.get_by_role("button", name="Stop").click()

    phone.get_by_text("No ticket is open for your camera.").wait_for()
    expect(phone.locator("#photo")).to_be_hidden()


def test_without_scripts_the_phone_takes_photos_into_what_it_shows(
    screen: Page, open_page: Open, desk: Desk, number: str, picture: Path
) -> None:
    phone = open_page("/bench/camera", name="Robin", width=360, scripts=False)
    phone.locator("#photo").set_input_files(picture)
    phone.get_by_label("the customer too").check()

    phone.get_by_role("button", name="Send").click()

    expect(phone.locator(".prints figure")).to_have_count(1)
    with desk.reading() as connection:
        (photo,) = photos.of_ticket(connection, find(connection, number).id)
    assert photo.audience == "customer"


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_both_pages_have_no_fault_that_axe_finds_and_fit_320_px(
    screen: Page, open_page: Open, at_bench: Open, number: str, dark: bool
) -> None:
    for page in (
        open_page("/bench/camera", name="Robin", width=320, dark=dark),
        open_page(f"/bench/{spoken(number)}/camera", name="Robin", width=320, dark=dark),
    ):
        reads_well(page)

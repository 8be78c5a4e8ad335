"""A page of the bench that is opened where there is no line: photos and notes are taken all the same."""

# ruff: noqa: F811 (fixtures of a neighbour, asked for by their names)

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from portal.actions import people
from portal.actions.desk import By, Desk
from portal.rules.numbers import spoken
from tests.browser.conftest import Open, log_in
from tests.browser.line import Line
from tests.browser.looks import reads_well
from tests.browser.test_taking_photos import (  # noqa: F401 (the same line)
    at,
    at_bench_page,
    is_ready,
    kept,
    line,
    lines,
    notes,
    on_the_device,
    pictures,
    shapes,
    site,
)
from tests.pictures.conftest import _no_child_is_left  # noqa: F401 (here too)
from tests.web.browser import PASSWORD

KEPT = """async () => {
  const names = await caches.keys();
  const requests = await Promise.all(names.map(async (name) => (await caches.open(name)).keys()));
  return requests.flat().map((request) => new URL(request.url).pathname);
}"""
KNOWS = """async () => {
  for (let frame = 0; frame < 900; frame += 1) {
    if (await caches.match('/bench/without-a-line')) return true;
    await new Promise(requestAnimationFrame);
  }
  return false;
}"""
HAS_WORKER = "async () => Boolean(await navigator.serviceWorker.getRegistration('/bench/'))"


@pytest.fixture
def page(chrome: Browser, site: str, technician: By, number: str) -> Iterator[Page]:
    """The ticket's photos on a phone that knows what to show without a line.

    Nothing of the test stands between its worker and the line, as it would in a page that is watched.
    """
    context = chrome.new_context(base_url=site, viewport={"width": 360, "height": 800}, locale="en-GB")
    context.set_default_timeout(15_000)
    page = context.new_page()
    log_in(page, "Robin")
    page.goto(at(number))
    is_ready(page)
    assert page.evaluate(KNOWS)
    page.evaluate("navigator.serviceWorker.ready.then(() => null)")
    yield page
    context.close()


def open_again(page: Page, path: str) -> Page:
    """The same phone, its page closed meanwhile."""
    page.close()
    again = page.context.new_page()
    again.goto(path)
    return again


def test_a_closed_page_is_opened_without_a_line_and_what_is_taken_there_goes_later(
    page: Page,
    number: str,
    desk: Desk,
    line: Line,
    pictures: dict[str, Path],
) -> None:
    line.cut()
    again = open_again(page, at(number))
    again.get_by_role("heading", name="No connection").wait_for()
    assert again.get_by_label("Number of the repair").input_value() == spoken(number)

    again.get_by_label("after the repair").check()
    again.get_by_label("Photos").set_input_files([pictures["wide"], pictures["tall"]])
    again.get_by_label("Note").fill("It hums when warm")
    again.get_by_role("button", name="Keep for the bench").click()

    expect(again.locator("[data-waiting] li[data-kept]")).to_have_count(3)
    again.get_by_text("3 not sent yet. No connection.").wait_for()
    assert "This page cannot keep anything" not in again.locator("main").inner_text()
    for readable in ("It hums", spoken(number), "JFIF", "wide.jpg"):
        assert readable not in str(on_the_device(again))

    again.close()
    line.mend()
    sent = at_bench_page(again, "/bench/")
    expect(sent.locator("[data-waiting]")).to_be_hidden()
    assert shapes(desk, number) == ["wide", "tall"]
    assert {photo.moment for photo in kept(desk, number)} == {"after"}
    assert notes(desk, number) == ["It hums when warm"]
    assert on_the_device(sent) == []


def test_once_there_is_a_line_again_the_open_page_sends_and_becomes_what_was_asked_for(
    page: Page,
    number: str,
    desk: Desk,
    line: Line,
    pictures: dict[str, Path],
) -> None:
    line.cut()
    again = open_again(page, at(number))
    again.get_by_label("Photos").set_input_files(pictures["tall"])
    again.get_by_role("button", name="For the customer too").click()
    again.get_by_text("1 not sent yet. No connection.").wait_for()

    line.mend()

    expect(again.locator(".prints figure")).to_have_count(1)
    assert {photo.audience for photo in kept(desk, number)} == {"customer"}


def test_a_slip_in_the_number_is_found_at_once(page: Page, number: str, line: Line, pictures: dict[str, Path]) -> None:
    line.cut()
    again = open_again(page, "/bench/")
    field = again.get_by_label("Number of the repair")
    assert field.input_value() == ""
    field.fill(spoken(number)[:-1] + str((int(number[-1]) + 1) % 10))
    again.get_by_label("Photos").set_input_files(pictures["tall"])

    again.get_by_role("button", name="Keep for the bench").click()

    assert "a digit is wrong or two are swapped" in field.evaluate("field => field.validationMessage")
    assert on_the_device(again) == []
    field.fill(spoken(number))
    again.get_by_role("button", name="Keep for the bench").click()
    expect(again.locator("[data-waiting] li[data-kept]")).to_have_count(1)


def test_nothing_of_anybody_is_kept_for_it_and_with_a_line_it_is_never_shown(page: Page, number: str) -> None:
    assert sorted(page.evaluate(KEPT)) == [
        "/bench/without-a-line",
        "/static/bench.css",
        "/static/paper.css",
        "/static/scaling.js",
        "/static/shell.js",
        "/static/waiting.js",
        "/static/waiting_store.js",
        "/static/without_line.js",
    ]
    text = page.evaluate("caches.match('/bench/without-a-line').then((answer) => answer.text())")
    for somebodys in ("Robin", "csrf", spoken(number)):
        assert somebodys not in text

    again = open_again(page, f"/bench/{spoken(number)}")
    assert again.evaluate("Boolean(navigator.serviceWorker.controller)")
    assert again.get_by_role("heading", name="No connection").count() == 0


@pytest.mark.parametrize("button", ["Lock", "Log out"])
def test_locking_and_logging_out_leave_no_page_either(page: Page, number: str, line: Line, button: str) -> None:
    page.get_by_role("button", name=button).click()
    page.wait_for_url(lambda url: "/bench" not in url)

    assert page.evaluate(KEPT) == []
    assert page.evaluate(HAS_WORKER) is False
    line.cut()
    with pytest.raises(Exception, match="ERR_"):
        open_again(page, at(number))


def test_what_was_taken_for_logins_that_were_ended_can_never_be_read_again(
    page: Page,
    number: str,
    desk: Desk,
    technician: By,
    line: Line,
    pictures: dict[str, Path],
) -> None:
    line.cut()
    again = open_again(page, at(number))
    again.get_by_label("Photos").set_input_files(pictures["tall"])
    again.get_by_role("button", name="Keep for the bench").click()
    again.locator("[data-waiting] li[data-kept]").wait_for()
    again.close()
    people.end_logins(desk, technician, PASSWORD)
    line.mend()

    login = page.context.new_page()
    log_in(login, "Robin")

    login.get_by_text("What waited here could not be read any more").wait_for()
    assert on_the_device(login) == []
    assert kept(desk, number) == []


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_page_has_no_fault_that_axe_finds_and_fits_320_px(at_bench: Open, dark: bool) -> None:
    page = at_bench("/bench/without-a-line", width=320, dark=dark)
    page.get_by_label("Number of the repair").wait_for()

    reads_well(page)

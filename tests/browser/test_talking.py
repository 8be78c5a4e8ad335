"""The customer writes on a phone, the bench answers, somebody rings: real browsers, taps counted, axe at 320 px."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from sqlalchemy import update

from notifications.tables import outbox
from portal.actions import conversation, parts
from portal.actions.desk import By, Desk, find
from portal.actions.intake import NewDevice, NewVisit, Second, take_in
from portal.main import Installation
from portal.rules.conversation import Writer
from portal.rules.numbers import spoken
from portal.store import calls, journal, photos, policies, visits
from tests.browser.conftest import Open
from tests.browser.hand import Hand
from tests.browser.looks import looks_well
from tests.conftest import BENCH
from tests.pictures.samples import as_bytes, four_corners
from tests.web.test_customer_docket import own_path


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_customer_writes_with_a_photo_and_reads_the_answer(
    open_page: Open, desk: Desk, number: str, technician: By, tmp_path: Path, scripts: bool
) -> None:
    file = tmp_path / "crack.jpg"
    file.write_bytes(as_bytes(four_corners()))
    page = open_page(own_path(desk, number), scripts=scripts)
    page.get_by_role("link", name="Write to us").click()
    page.get_by_label("What do you want to tell or ask us?").fill("The crack starts here.")
    page.get_by_label("A photo, if it helps").set_input_files(file)
    page.get_by_role("button", name="Send", exact=True).click()

    expect(page.get_by_role("status")).to_contain_text("We have it.")
    with desk.reading() as connection:
        assert [photo.by_customer for photo in photos.of_ticket(connection, find(connection, number).id)] == [True]
    conversation.answer(desk, technician, number, "We see it, thank you.")
    page.get_by_role("link", name="Back to your repair").click()
    expect(page.get_by_text("We see it, thank you.")).to_be_visible()


def test_is_it_ready_is_answered_within_three_taps_from_the_list_and_noted_with_one(
    at_bench: Open, desk: Desk, number: str
) -> None:
    for place in range(8):  # others, whose phones end otherwise
        take_in(desk, BENCH, NewVisit([NewDevice("Phone", "")], name=f"No {place}", phone=f"07700 90{place}777"))
    page = at_bench("/bench/")
    hand = Hand(page)

    hand.tap(page.get_by_role("link", name="Telephone", exact=True))
    page.wait_for_url("**/bench/phone")
    expect(page.get_by_role("searchbox")).to_be_focused()  # else the first digit typed would be lost
    page.keyboard.type("0123")
    hand.tap(page.get_by_role("button", name="Find", exact=True))
    expect(page.get_by_text("It is not ready yet.")).to_be_in_viewport()
    to_answer = hand.taps
    hand.tap(page.get_by_role("button", name="They rang us"))
    expect(page.get_by_role("status")).to_contain_text("The call is noted.")

    print(f"taps to answer “is it ready?”, from the list: {to_answer}; to note the call: {hand.taps - to_answer}")
    assert to_answer <= 3
    assert hand.taps - to_answer == 1
    with desk.reading() as connection:
        last = journal.entries(connection, find(connection, number).id)[-1]
    assert last.data == {"outcome": "rang_us", "contact": "owner"}


@pytest.fixture
def busy(installation: Installation, technician: By) -> str:
    """The number of a ticket about which everything is to be said: long words, a call due, a message that failed."""
    desk, second = installation.desk, Second(name="Eve Marsh", email="eve@example.org", may_be_told=True)
    device = NewDevice("Phone " + "x" * 60, "It is dark.")
    visit = NewVisit(
        [device, NewDevice("Tablet", "")], "Ada Marsh", "ada@example.org", "07700 900123", True, second=second
    )
    number = take_in(desk, BENCH, visit).numbers[0]
    with desk.writing() as connection:
        ticket = find(connection, number)
        owner = visits.contacts_of(connection, ticket.visit_id)[0]
        calls.note(connection, "m1", owner.ref, ticket.ref, "ready_undone", [{}], desk.clock.now())
        failed = {"state": "unknown", "settled_at": desk.clock.now(), "outcome": "450 " + "y" * 80}
        connection.execute(update(outbox).values(**failed))
    conversation.write(desk, installation.photo_files, number, Writer.OWNER, "z" * 80, photo=as_bytes(four_corners()))
    conversation.rang(desk, technician, number, "not_reached", "Rang out.")
    return number


@pytest.fixture
def donors(desk: Desk) -> None:
    """A shop that keeps a list of donor devices, with one on it."""
    with desk.writing() as connection:
        document = policies.document(connection, 1)
        assert document is not None
        policies.add(connection, document.replace("donors = false", "donors = true"), desk.clock.now(), None)
    parts.add_donor(desk, "Laptop " + "w" * 40, "Olive Prior", "folder 3")


def pages(desk: Desk, number: str) -> dict[str, str]:
    """Every page of this file's, and those that changed for it, by name."""
    at = f"/bench/{spoken(number)}"
    return {
        "list": "/bench/",
        "today": "/bench/today",
        "ticket": at,
        "conversation": f"{at}/conversation",
        "card": f"{at}/phone",
        "phone": "/bench/phone?q=Marsh",
        "too few digits": "/bench/phone?q=12",
        "donors": "/bench/donors",
        "photos": f"{at}/photos",
    }


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_pages_of_the_bench_have_no_fault_that_axe_finds_and_fit_a_narrow_phone(
    as_keeper: Open, desk: Desk, busy: str, donors: None, dark: bool
) -> None:
    page = as_keeper("/bench/", width=320, dark=dark)
    for path in pages(desk, busy).values():
        page.goto(path)
        looks_well(page)


def test_refused_forms_have_no_fault_that_axe_finds(at_bench: Open, busy: str) -> None:
    page = at_bench(f"/bench/{spoken(busy)}/conversation", width=320)
    page.get_by_text("Said or written elsewhere").click()
    page.get_by_role("button", name="Enter it as theirs").click()
    expect(page.get_by_role("alert")).to_contain_text("Choose how the customer said it")
    looks_well(page)
    page.goto(f"/bench/{spoken(busy)}/phone")
    page.get_by_label("What was said, if it matters").fill("The PIN is 4711")
    page.get_by_role("button", name="Rung and reached").click()
    expect(page.get_by_role("alert")).to_contain_text("looks like a passcode")
    looks_well(page)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_customers_page_has_no_fault_that_axe_finds_and_fits_a_narrow_phone(
    open_page: Open, desk: Desk, busy: str, dark: bool
) -> None:
    page: Page = open_page(f"{own_path(desk, busy)}/write/{spoken(busy)}", width=320, dark=dark)
    looks_well(page)
    page.get_by_role("button", name="Send", exact=True).click()
    expect(page.get_by_role("alert")).to_contain_text("is missing")
    looks_well(page)


def test_a_letter_of_the_demos_mailbox_fits_and_has_no_fault_that_axe_finds(
    as_keeper: Open, installation: Installation, number: str
) -> None:
    assert [tally.failed for _name, tally in installation.sweep(["send"])] == [0]
    page = as_keeper("/shop/sent", width=320)
    page.get_by_role("link", name="Read it").click()
    page.wait_for_url("**/shop/sent/1")
    looks_well(page)
    page.get_by_role("link", name="As mail programs show it").click()
    expect(page.get_by_text("Hello Ada Marsh")).to_be_visible()


def test_the_attempts_on_paper_have_no_fault_that_axe_finds(at_bench: Open, busy: str) -> None:
    looks_well(at_bench(f"/bench/{spoken(busy)}/attempts", width=1280), 1280)

"""Your data, the record of processing and what a ticket holds: in a real browser they fit and can be read."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from portal.actions import breaches, restriction, rights
from portal.actions.breaches import Written
from portal.actions.desk import Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import TakenIn
from portal.actions.rights import Asked
from portal.rules.numbers import spoken
from tests.browser.conftest import Open
from tests.browser.looks import reads_well
from tests.conftest import BENCH
from tests.web.test_own_data_pages import code_of

A4 = 1280  # a page for paper is as wide as the paper


def no_look(_page: Page, _width: int) -> None:
    """Axe is itself a script."""


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("width", [320, 1280])
def test_the_notice_and_the_record_fit_and_are_read_by_everybody(
    open_page: Open, as_keeper: Open, taken_in: TakenIn, width: int, dark: bool
) -> None:
    own = "/t/" + taken_in.link.rsplit("/", 1)[-1]

    for page in (
        open_page("/privacy", width=width, dark=dark),
        open_page(f"{own}/privacy?lang=de", width=width, dark=dark),
        as_keeper("/shop/processing", width=width, dark=dark),
        as_keeper(f"/bench/{spoken(taken_in.numbers[0])}/data", width=width, dark=dark),
    ):
        reads_well(page, width)


@pytest.mark.parametrize("width", [320, 1280])
def test_requests_breaches_and_the_check_of_a_report_fit_and_are_read_by_everybody(
    open_page: Open, as_keeper: Open, desk: Desk, taken_in: TakenIn, width: int
) -> None:
    number = taken_in.numbers[0]
    request = rights.enter(desk, BENCH, Asked("erasure", "mail", number=number, words="All of it."))
    breach = breaches.record(desk, BENCH, Written(desk.clock.now(), "A docket was lost.", ["contact"], number))

    for page in (
        as_keeper("/shop/requests", width=width),
        as_keeper(f"/shop/requests/{request}", width=width),
        as_keeper("/shop/breaches", width=width),
        as_keeper(f"/shop/breaches/{breach}", width=width),
        open_page("/check?lang=de", width=width),
    ):
        reads_well(page, width)
    reads_well(as_keeper(f"/shop/breaches/{breach}/sheet", width=width), A4)


@pytest.mark.parametrize("width", [320, 1280])
@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_person_opens_their_data_with_a_code_corrects_their_name_and_has_the_rest_erased(
    open_page: Open, desk: Desk, taken_in: TakenIn, width: int, scripts: bool
) -> None:
    number = taken_in.numbers[0]
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    look = reads_well if scripts else no_look
    page = open_page("/t/" + taken_in.link.rsplit("/", 1)[-1] + "/data", width=width, scripts=scripts)
    look(page, width)
    page.get_by_role("button", name="Send me a code").click()
    page.get_by_label("The six digits of the code").fill(code_of(desk, number))
    page.get_by_role("button", name="Go on with the code").click()
    look(page, width)

    page.get_by_role("textbox", name="Your name").fill("Ada Marsh-Lee")
    page.get_by_role("button", name="Correct it").click()
    expect(page.get_by_text("It is corrected.")).to_be_visible()

    page.get_by_role("button", name="Back to your data").click()
    page.get_by_role("button", name="Erase what can go").click()
    expect(page.get_by_text("What could go is gone.")).to_be_visible()
    look(page, width)


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_keeper_keeps_something_longer_and_the_customer_reads_so(
    as_keeper: Open, open_page: Open, desk: Desk, taken_in: TakenIn, scripts: bool
) -> None:
    page = as_keeper(f"/bench/{spoken(taken_in.numbers[0])}/data", width=360, scripts=scripts)
    page.get_by_label("Photos of the device").check()
    page.get_by_label("The reason").fill("Claim of the owner")
    page.get_by_label("Looked at again on").fill("2026-06-01")
    page.get_by_role("button", name="Keep it until then").click()
    expect(page.get_by_text("Claim of the owner")).to_be_visible()

    read = open_page("/t/" + taken_in.link.rsplit("/", 1)[-1], width=360, scripts=scripts)
    read.get_by_role("link", name="Your data").click()

    expect(read.get_by_text("stays for now")).to_be_visible()


@pytest.mark.parametrize("width", [320, 1280])
def test_a_restriction_fits_and_is_read_by_everybody(
    open_page: Open, as_keeper: Open, desk: Desk, taken_in: TakenIn, width: int
) -> None:
    number = spoken(taken_in.numbers[0])
    request = rights.enter(desk, BENCH, Asked("restriction", "mail", number=number))
    rights.settle(desk, BENCH, request, "done", "As you ask.")
    restriction.allow_uses(desk, BENCH, number, ["write"], "claim", "The money for the first repair.")

    page = as_keeper(f"/bench/{number}", width=width)
    expect(page.get_by_text("Only stored since")).to_be_visible()
    reads_well(page, width)
    page = as_keeper(f"/bench/{number}/data", width=width)
    page.get_by_text("Allow something all the same").click()
    reads_well(page, width)
    page = as_keeper(f"/shop/requests/{request}", width=width)
    page.get_by_text("I told them myself").click()
    reads_well(page, width)


@pytest.mark.parametrize("width", [320, 1280])
@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_person_has_their_data_only_stored_and_used_again(
    open_page: Open, desk: Desk, taken_in: TakenIn, width: int, scripts: bool
) -> None:
    look = reads_well if scripts else no_look
    page = open_page("/t/" + taken_in.link.rsplit("/", 1)[-1] + "/data", width=width, scripts=scripts)
    page.get_by_role("button", name="Send me a code").click()
    page.get_by_label("The six digits of the code").fill(code_of(desk, taken_in.numbers[0]))
    page.get_by_role("button", name="Go on with the code").click()
    page.get_by_role("button", name="Only store my data").click()
    expect(page.get_by_text("From now on your data is only stored.")).to_be_visible()
    page.get_by_role("button", name="Back to your data").click()
    look(page, width)

    page.get_by_role("button", name="Use my data again").click()

    expect(page.get_by_text("We use your data for your repair again")).to_be_visible()
    look(page, width)

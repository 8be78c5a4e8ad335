"""The pages of money, looked over with axe at 320 px; and the code for a transfer, read as a bank’s app would."""

from __future__ import annotations

import io

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import expect

from portal.actions import charges, payments
from portal.actions.desk import Desk
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.payments import Typed
from portal.actions.price_terms import TypedTerms
from portal.rules.numbers import spoken
from portal.store import policies
from tests.browser.conftest import Open
from tests.browser.looks import looks_well
from tests.conftest import BENCH
from tests.web.test_customer_docket import path_of
from tests.web.test_money_pages import EURO


@pytest.fixture
def half_paid(desk: Desk) -> TakenIn:
    """A radio in a shop that reckons in euro: a price agreed, a part of it let off, a part paid, and stated."""
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection)) or ""
        policies.add(connection, document.replace('"GBP"', '"EUR"') + EURO, desk.clock.now(), None)
    device = NewDevice("Radio", "Hums", price=TypedTerms("fixed price", "48.50", "New capacitors and a new cable"))
    taken = take_in(desk, BENCH, NewVisit([device], email="ada@example.org"))
    payments.take(desk, BENCH, taken.numbers[0], Typed("20", "bank transfer", "received 3/26"))
    charges.let_off(desk, BENCH, taken.numbers[0], "3.50", "It took longer than we said")
    charges.state(desk, BENCH, taken.numbers[0])
    return taken


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_benchs_page_of_money_has_no_fault_that_axe_finds(as_keeper: Open, half_paid: TakenIn, dark: bool) -> None:
    looks_well(as_keeper(f"/bench/{spoken(half_paid.numbers[0])}/money", width=320, dark=dark))


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_customers_page_of_money_has_no_fault_that_axe_finds(
    open_page: Open, half_paid: TakenIn, dark: bool
) -> None:
    page = open_page(f"{path_of(half_paid.link)}/money/{spoken(half_paid.numbers[0])}", width=320, dark=dark)

    looks_well(page)
    [code] = zxingcpp.read_barcodes(Image.open(io.BytesIO(page.locator(".pay-code svg").screenshot(scale="device"))))
    assert code.text.splitlines()[6:] == ["DE89370400440532013000", "EUR25.00", "", "", spoken(half_paid.numbers[0])]


def test_a_statement_on_paper_has_no_fault_that_axe_finds(as_keeper: Open, half_paid: TakenIn) -> None:
    looks_well(as_keeper(f"/bench/{spoken(half_paid.numbers[0])}/statement/1", width=1280), 1280)


@pytest.mark.parametrize("width", [320, 1280])
def test_a_customer_reads_the_same_paper_on_a_phone_and_saves_it(
    open_page: Open, half_paid: TakenIn, width: int
) -> None:
    page = open_page(f"{path_of(half_paid.link)}/money/{spoken(half_paid.numbers[0])}", width=width)
    with page.expect_download() as saved:
        page.get_by_role("link", name="Save it as").first.click()
    assert saved.value.suggested_filename.startswith("statement-1.")

    page.get_by_role("link", name="Read and print it").click()

    expect(page.get_by_role("heading", name="Statement 1")).to_be_visible()
    looks_well(page, width)

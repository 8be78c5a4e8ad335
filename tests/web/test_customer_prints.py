"""Docket and bench label: what is on them, who may print them, and where their codes lead."""

from __future__ import annotations

import re

import pytest
import qrcode
from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_L, ERROR_CORRECT_M, ERROR_CORRECT_Q
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData

from portal.actions.desk import Desk
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.main import Installation
from portal.qr import QUIET_ZONE, modules, svg
from portal.rules.numbers import spoken
from portal.store import policies
from tests.conftest import BENCH
from tests.web.browser import Browser

LEVELS = (ERROR_CORRECT_L, ERROR_CORRECT_M, ERROR_CORRECT_Q, ERROR_CORRECT_H)
# How many characters fit, by version, for the levels L, M, Q and H (segno 1.6.6, computed; 2-M with 38 stands in
# DENSO WAVE's text too).
BYTES = {1: (17, 14, 11, 7), 2: (32, 26, 20, 14), 3: (53, 42, 32, 24), 4: (78, 62, 46, 34), 5: (106, 84, 60, 44)}
ALPHANUMERICS = {1: (25, 20, 16, 10), 2: (47, 38, 29, 20), 3: (77, 61, 47, 35), 4: (114, 90, 67, 50)}


def version(text: str, level: int, mode: int) -> int:
    code = qrcode.QRCode(error_correction=level)
    code.add_data(QRData(text, mode=mode))
    code.make(fit=True)
    return int(code.version)


@pytest.mark.parametrize(
    ("mode", "letter", "table"),
    [(MODE_8BIT_BYTE, "a", BYTES), (MODE_ALPHA_NUM, "A", ALPHANUMERICS)],
    ids=["byte", "alphanumeric"],
)
def test_a_code_holds_as_many_letters_as_published(mode: int, letter: str, table: dict[int, tuple[int, ...]]) -> None:
    for size, row in table.items():
        for level, most in zip(LEVELS, row, strict=True):
            assert version(letter * most, level, mode) == size
            assert version(letter * (most + 1), level, mode) == size + 1


def test_a_code_has_seventeen_and_four_modules_a_version_and_a_quiet_zone_of_four() -> None:
    """qrcode.com: 50 alphanumerics at level M make version 3, 29 modules a side, 37 with the quiet zone."""
    assert len(modules("A" * 50)) == 29
    assert QUIET_ZONE == 4
    assert 'viewBox="0 0 37 37"' in svg("A" * 50)
    assert re.findall(r"M(\d+) (\d+)h7v1h-7z", svg("A" * 50))[0] == ("4", "4")  # the first finder begins at the zone


def test_printed_at_four_dots_of_400_dpi_it_is_as_large_as_published() -> None:
    """qrcode.com: 0.254 mm a module, 9.398 mm with the quiet zone."""
    assert 'width="9.398mm" height="9.398mm"' in svg("A" * 50, 4 * 25.4 / 400)


def test_capitals_make_the_code_smaller() -> None:
    """An address of 44 bytes needs version 4-M; in capitals with 26 letters of token, 48 alphanumerics, 3-M."""
    assert len(modules("https://example.org/t/" + "a" * 22)) == 17 + 4 * 4
    assert len(modules("HTTPS://EXAMPLE.ORG/T/" + "A" * 26)) == 17 + 4 * 3


def test_the_dockets_code_fits_the_compact_mode(desk: Desk, taken_in: TakenIn) -> None:
    code = desk.links.code(taken_in.visit_ref, 1)

    assert code == taken_in.link.upper()
    assert len(modules(code)) == 17 + 4 * 3  # 57 letters for http://bench.test


@pytest.mark.parametrize("page", ["docket", "label", "docket?size=roll58", "label?size=square"])
def test_prints_need_a_login(client: Browser, taken_in: TakenIn, page: str) -> None:
    answer = client.get(f"/bench/{taken_in.numbers[0]}/{page}")

    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/login")


def test_the_address_on_the_bench_label_leads_to_the_bench_in_capitals_too(
    client: Browser, staff_client: Browser, number: str
) -> None:
    assert client.get(f"/BENCH/{number}").headers["Location"].startswith("/login")
    page = staff_client.get(f"/BENCH/{number}", follow_redirects=True)
    assert page.status_code == 200
    assert spoken(number) in page.text


def test_the_docket_says_what_the_customer_needs(staff_client: Browser, taken_in: TakenIn, number: str) -> None:
    page = staff_client.get(f"/bench/{number}/docket").text

    for expected in (
        spoken(number),
        "Handheld console, blue",
        "Does not charge. Was dropped last week.",
        "A small repair shop",
        "Mon, 2 Mar 2026, 09:00",
        "bench.test",
        "We never ask for card details by this code.",
        "No work without your yes",
        "The shop keeps this part with the device.",
    ):
        assert expected in page


def test_no_paper_carries_contact_data(staff_client: Browser, number: str) -> None:
    for page in ("docket", "label"):
        text = staff_client.get(f"/bench/{number}/{page}").text
        for secret in ("Ada", "Marsh", "ada@example.org", "900123"):
            assert secret not in text


def test_the_label_does_not_carry_the_customers_link(
    staff_client: Browser, desk: Desk, taken_in: TakenIn, number: str
) -> None:
    page = staff_client.get(f"/bench/{number}/label").text

    assert svg(desk.links.bench(number).upper()).rpartition("<path")[2] in page
    assert taken_in.link.rsplit("/", 1)[-1].lower() not in page.lower()


def test_one_docket_lists_all_devices_of_the_visit(staff_client: Browser, desk: Desk) -> None:
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums"), NewDevice("Hand mixer", "Smells")]))

    page = staff_client.get(f"/bench/{taken.numbers[1]}/docket").text

    for expected in (*map(spoken, taken.numbers), "Radio", "Hand mixer"):
        assert expected in page


def test_the_docket_speaks_the_customers_language(staff_client: Browser, desk: Desk) -> None:
    taken = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Brummt")], language="de"))

    assert '<html lang="de">' in staff_client.get(f"/bench/{taken.numbers[0]}/docket").text
    assert '<html lang="en">' in staff_client.get(f"/bench/{taken.numbers[0]}/docket?lang=en").text


@pytest.mark.parametrize(
    ("sheet", "page"),
    [
        ("docket-a4", "210mm 297mm"),
        ("docket-letter", "215.9mm 279.4mm"),
        ("docket-roll80", "80mm 297mm"),
        ("docket-roll58", "58mm 297mm"),
        ("label-wide", "62mm 35mm"),
        ("label-square", "25mm 25mm"),
    ],
)
def test_each_paper_has_its_sheet(staff_client: Browser, sheet: str, page: str) -> None:
    answer = staff_client.get(f"/bench/prints/{sheet}.css")

    assert answer.mimetype == "text/css"
    assert f"size: {page}" in answer.text


def test_labels_have_the_sizes_and_offsets_that_the_policy_sets(
    staff_client: Browser, installation: Installation, number: str
) -> None:
    with installation.desk.writing() as connection:
        text = policies.document(connection, policies.newest(connection)) or ""
        text += '\n[[prints.labels]]\nkey = "tape"\nwidth_mm = 50\nheight_mm = 19.5\nright_mm = 1.5\ndown_mm = -2\n'
        policies.add(connection, text, installation.desk.clock.now(), None)

    assert "50 × 19.5 mm" in staff_client.get(f"/bench/{number}/label").text
    sheet = staff_client.get("/bench/prints/label-tape.css").text
    assert "size: 50mm 19.5mm" in sheet
    assert "left: 1.5mm; top: -2mm" in sheet


def test_a_test_print_shows_the_labels_edges_and_no_ticket(staff_client: Browser) -> None:
    page = staff_client.get("/bench/prints/test?size=square")

    assert page.status_code == 200
    assert "1234-0" in page.text
    assert "The frame should lie on the label’s edges." in page.text


@pytest.mark.parametrize(
    "path",
    ["{}/docket?size=a0", "{}/label?size=huge", "prints/docket-a0.css", "prints/x.css", "99999/docket", "x/label"],
)
def test_what_there_is_not_is_not_found_or_refused(staff_client: Browser, number: str, path: str) -> None:
    assert staff_client.get("/bench/" + path.format(number)).status_code in (404, 422)


def test_the_print_page_warns_of_an_address_that_a_phone_cannot_follow(staff_client: Browser, number: str) -> None:
    for page in ("docket", "label"):  # http://bench.test is no public name (RFC 6761)
        assert "A customer’s phone will not open it." in staff_client.get(f"/bench/{number}/{page}").text


def test_print_pages_have_no_style_or_script_in_them(staff_client: Browser, number: str) -> None:
    for page in ("docket", "label"):
        text = staff_client.get(f"/bench/{number}/{page}").text
        assert " style=" not in text
        assert "<style" not in text
        assert "<script" not in text

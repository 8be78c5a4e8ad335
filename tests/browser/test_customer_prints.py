"""A code printed on paper, held askew before a phone with a weak lens, still opens the customer's page."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator

import pytest
import zxingcpp
from flask import Flask
from PIL import Image, ImageFilter
from playwright.sync_api import Browser, BrowserContext, Page

from portal.actions.desk import By, Desk
from portal.actions.intake import TakenIn
from portal.qr import QUIET_ZONE
from portal.rules.numbers import spoken
from tests.browser.conftest import Open, log_in

PAPERS = ["docket?size=a4", "docket?size=roll80", "docket?size=roll58", "label?size=wide", "label?size=square"]
CSS_DPI = 96


@pytest.fixture
def printed(chrome: Browser, site: str, technician: By) -> Iterator[Callable[[str, int], Image.Image]]:
    """Prints a page as a printer of so many dots an inch puts it down: black or white, nothing between."""
    contexts: dict[int, BrowserContext] = {}

    def put_down(path: str, dpi: int) -> Image.Image:
        if dpi not in contexts:
            contexts[dpi] = chrome.new_context(
                base_url=site, device_scale_factor=dpi / CSS_DPI, viewport={"width": 900, "height": 900}
            )
            log_in(contexts[dpi].new_page(), "Robin")
        page = contexts[dpi].pages[0]
        page.goto(path)
        page.emulate_media(media="print")
        picture = Image.open(io.BytesIO(page.locator("article").screenshot())).convert("L")
        return picture.point(lambda grey: 255 * (grey > 127))

    yield put_down
    for context in contexts.values():
        context.close()


def seen(picture: Image.Image, degrees: float, blur: float) -> str:
    """What a decoder of another maker reads when the paper lies askew and the lens is weak."""
    askew = picture.rotate(degrees, expand=True, fillcolor=255, resample=Image.Resampling.BICUBIC)
    found = zxingcpp.read_barcodes(askew.filter(ImageFilter.GaussianBlur(blur)))
    assert len(found) == 1, f"{len(found)} codes read at {degrees}° with blur {blur}"
    return found[0].text


@pytest.mark.parametrize("dpi", [203, 300])
def test_the_printed_code_is_read_askew_and_blurred(
    printed: Callable[[str, int], Image.Image], desk: Desk, taken_in: TakenIn, number: str, dpi: int
) -> None:
    for paper in PAPERS:
        leads_to = desk.links.bench(number).upper() if paper.startswith("label") else taken_in.link.upper()

        picture = printed(f"/bench/{number}/{paper}", dpi)

        for degrees, blur in ((0, 0), (90, 0.8), (17, 0.8), (-33, 1.2), (181, 1.2)):
            assert seen(picture, degrees, blur) == leads_to, paper


def test_the_code_read_from_the_paper_opens_the_customers_page(
    printed: Callable[[str, int], Image.Image], app: Flask, number: str
) -> None:
    address = seen(printed(f"/bench/{number}/docket", 203), 12, 0.8)

    page = app.test_client().get(address.removeprefix("HTTP://BENCH.TEST"))

    assert page.status_code == 200
    assert spoken(number) in page.text


def test_the_quiet_zone_is_white_and_the_code_black_in_the_dark_too(at_bench: Open, number: str) -> None:
    page = at_bench(f"/bench/{number}/label", dark=True, width=900)
    for paper in PAPERS:
        page.goto(f"/bench/{number}/{paper}")

        code = Image.open(io.BytesIO(page.locator("svg.code").screenshot())).convert("L")

        zone = round(QUIET_ZONE * code.width / modules_a_side(page)) - 1
        assert code.crop((1, 1, code.width - 1, zone)).getextrema()[0] > 250, paper
        assert code.getextrema()[0] < 5, paper


def modules_a_side(page: Page) -> int:
    """How many modules a side the code on a page has, quiet zone included."""
    return int((page.locator("svg.code").get_attribute("viewBox") or "").split()[-1])


@pytest.mark.parametrize(
    ("paper", "width_mm", "height_mm"),
    [
        ("docket?size=a4", 210, 297),
        ("docket?size=letter", 215.9, 279.4),
        ("label?size=wide", 62, 35),
        ("label?size=square", 25, 25),
    ],
)
def test_each_print_is_one_page_of_its_paper(
    at_bench: Open, number: str, paper: str, width_mm: float, height_mm: float
) -> None:
    pdf = at_bench(f"/bench/{number}/{paper}").pdf(prefer_css_page_size=True)

    assert pdf.count(b"/Type /Page\n") + pdf.count(b"/Type /Page ") == 1
    box = [float(edge) for edge in pdf.partition(b"/MediaBox [")[2].partition(b"]")[0].split()]
    assert box[2] / 72 * 25.4 == pytest.approx(width_mm, abs=0.5)
    assert box[3] / 72 * 25.4 == pytest.approx(height_mm, abs=0.5)

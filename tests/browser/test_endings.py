"""The pages of endings that drag on, looked over with axe at 320 px; the formal letter on paper."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from notifications.instants import FixedClock
from portal.actions import complaints, warranty
from portal.actions import formal_notices as notices
from portal.actions.desk import Desk
from portal.actions.handover import hand_over
from portal.actions.intake import TakenIn
from portal.rules.numbers import spoken
from portal.store import warranty as links
from tests.actions.aftermath import ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.actions.test_formal_notices import TYPED, newest, post, put_in_force, told_to_collect
from tests.browser.conftest import Open
from tests.browser.looks import looks_well
from tests.conftest import BENCH
from tests.web.test_customer_docket import path_of


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """A device that is ready, in a shop whose policy names the law."""
    put_in_force(desk)
    bring_to(desk, number, "ready")
    return number


def _posted(desk: Desk, number: str, folder: Path) -> None:
    notices.make(desk, BENCH, number, "collect", TYPED)
    post(desk, folder, number, "2026-03-02")


def _untraced(desk: Desk, number: str, folder: Path) -> None:
    _posted(desk, number, folder)
    notices.untraced(desk, BENCH, number, "Two letters came back.", satisfied=True)


FORMAL: dict[str, tuple[Callable[[Desk, str, Path], object], str]] = {
    "nothing written": (lambda *_: None, "/shop/notices/{number}"),
    "posted": (_posted, "/shop/notices/{number}"),
    "untraced": (_untraced, "/shop/notices/{number}"),
    "the pack": (_posted, "/shop/notices/law"),
    "a letter": (_posted, "/shop/notices/{number}/{notice}/letter"),
}


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("state", FORMAL)
def test_the_formal_path_has_no_fault_that_axe_finds_and_fits_a_narrow_phone(
    as_keeper: Open, desk: Desk, tmp_path: Path, ready: str, state: str, dark: bool
) -> None:
    come_to_be, path = FORMAL[state]
    come_to_be(desk, ready, tmp_path)
    is_paper = "letter" in path or "law" in path
    notice = newest(desk, ready).id if is_paper else 0
    width = 1280 if is_paper else 320
    page = as_keeper(path.format(number=spoken(ready), notice=notice), width=width, dark=dark)

    looks_well(page, width)


LONG = replace(
    TYPED,
    address="c/o The Estate Office, Second Floor\n12 Harbour Rise\nQuayhaven-upon-River\nQH1 2AB\nUnited Kingdom",
    owed_for="The repair as agreed on 2 March: new capacitors, all contacts cleaned, one pair of output transistors.",
)


@pytest.mark.parametrize("made_by", ["browser", "file"])
@pytest.mark.parametrize("kind", ["collect", "sell"])
def test_a_letter_is_one_sheet_with_its_address_where_a_window_shows_it(
    as_keeper: Open, desk: Desk, clock: FixedClock, tmp_path: Path, ready: str, kind: str, made_by: str
) -> None:
    if kind == "sell":
        told_to_collect(desk, clock, tmp_path, ready)
    notices.make(desk, BENCH, ready, kind, LONG)
    base = f"/shop/notices/{spoken(ready)}/{newest(desk, ready).id}"
    file = tmp_path / "letter.pdf"
    page = as_keeper(f"{base}/letter", width=1280)
    if made_by == "browser":
        page.pdf(path=file, prefer_css_page_size=True)
    else:
        file.write_bytes(page.request.get(f"{base}/file").body())

    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("there is no pdftotext on the path (Debian: apt-get install poppler-utils)")
    words = subprocess.run([reader, "-bbox", file, "-"], capture_output=True, text=True, check=True).stdout

    assert words.count("<page ") == 1
    placed = re.findall(r'xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="[\d.]+">([^<]+)<', words)
    at = [(float(left) / 72 * 25.4, float(top) / 72 * 25.4, word) for left, top, _right, word in placed]
    left, top = next((left, top) for left, top, word in at if word == "Ada")
    assert 20 <= left <= 30
    assert 45 <= top <= 60  # DIN 5008, form B: the window is from 45 to 90 mm down
    assert next(top for _left, top, word in at if word == "Kingdom") <= 90
    assert all(float(right) / 72 * 25.4 <= 210 - 11.5 for _left, _top, right, _word in placed)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_a_complaint_has_no_fault_that_axe_finds_on_either_side(
    open_page: Open, at_bench: Open, desk: Desk, taken_in: TakenIn, number: str, dark: bool
) -> None:
    address = f"{path_of(taken_in.link)}/complain/{spoken(number)}"
    looks_well(open_page(address, width=320, dark=dark))
    complaints.complain(desk, number, "It still does not charge.\nI want it looked at again.")

    looks_well(open_page(address, width=320, dark=dark))
    looks_well(at_bench(f"/bench/{spoken(number)}/complaint", width=320, dark=dark))


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_a_device_that_comes_back_has_no_fault_that_axe_finds_on_either_side(
    open_page: Open, at_bench: Open, desk: Desk, clock: FixedClock, ready: str, dark: bool
) -> None:
    hand_over(desk, BENCH, ready, WITHOUT_CODE, confirmed=True)
    clock.at += timedelta(days=3)
    looks_well(at_bench(f"/bench/{spoken(ready)}/again", width=320, dark=dark))
    back = warranty.take_back_in(desk, BENCH, ready, "Does not charge again.")
    warranty.decide(desk, BENCH, back.numbers[0], "other", "customer", "The battery, not the socket.")

    looks_well(open_page(f"{path_of(back.link)}/found/{spoken(back.numbers[0])}", width=320, dark=dark))
    looks_well(at_bench(f"/bench/{spoken(back.numbers[0])}/again", width=320, dark=dark))
    with desk.reading() as connection:
        assert list(links.later(connection, ticket_of(desk, ready).id)) == list(back.numbers)

"""The record, the report and the announcement in a real browser: small, dark, without scripts, for screen readers."""

from __future__ import annotations

import shutil
import subprocess
from datetime import timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from notifications.instants import FixedClock
from portal.actions import notes, parts, sheet
from portal.actions.announce import Announced, announce
from portal.actions.desk import By, Desk
from portal.actions.intake import NewDevice, NewVisit, TakenIn
from portal.actions.record import object_to, record
from portal.actions.sheet import Typed
from portal.rules.intake_record import Item, Mark, Record
from portal.rules.numbers import spoken
from portal.rules.summary import SafetyTest
from portal.rules.test_sheet import FUNCTION_TEST_ONLY
from portal.store import policies
from tests.browser.conftest import Open
from tests.browser.test_customer_docket import sideways

LONG = "An-uninterruptedly-long-word-that-nobody-would-write-but-somebody-will " * 2
FULL = Record(
    shop_sees=f"Picture socket loose, two pins lifted. {LONG}",
    serial="260531793113837",
    marks=[Mark("scuffed edge", "front", "left corner"), Mark("dust in the vents")],
    seal="broken",
    earlier_repair="A screw is of another make",
    liquid="signs seen",
    battery=["swollen"],
    items=[Item("power supply", 1), Item("disc", 1, inside=True)],
    came_by="post",
    carrier="Parcel carrier",
    parcel_ref="X 1234",
    backed_up="yes",
    may_reset="no",
    unlocking="has no lock",
)


@pytest.fixture
def paths(desk: Desk, technician: By, taken_in: TakenIn, clock: FixedClock) -> dict[str, str]:
    """The customer's pages of a device with a full record, and the form and sheet of one that is announced."""
    number = taken_in.numbers[0]
    record(desk, technician, number, FULL)
    notes.note(desk, technician, number, "The socket is torn off the board.", audience="customer")
    parts.order(desk, technician, number, "optical drive", "Parts Yard", (clock.at + timedelta(days=3)).date())
    parts.fit_from_stock(desk, technician, number, "picture socket", used=True, warranty_months=6)
    parts.give(desk, technician, number, "Fan cleaned")
    sheet.fill_in(
        desk,
        technician,
        number,
        [
            Typed("starts", "before", "fail", "no light"),
            Typed("starts", "after", "pass"),
            Typed("usb", "after", "", "", "5.02 V"),
            Typed("sound", "after", "fail", LONG),
        ],
    )
    sheet.record_safety_test(
        desk,
        technician,
        number,
        SafetyTest(True, "a qualified person of another shop", "Tester 5", "2026-02-27", "passed"),
    )
    with desk.writing() as connection:
        document = policies.document(connection, policies.newest(connection)) or ""
        changed = document.replace("announcing = false", "announcing = true")
        policies.add(connection, changed, desk.clock.now(), None)
    sent = announce(
        desk,
        Announced(
            NewVisit(name="Ada Marsh", email="ada@example.org"),
            NewDevice("Console, white " + LONG[:90], "No picture.", "console"),
            "1 Example Road",
            [Item("cable", 2)],
        ),
        "198.51.100.7",
    )
    mine, theirs = ("/t/" + each.link.rsplit("/", 1)[-1] for each in (taken_in, sent))
    return {
        "docket": mine,
        "record": f"{mine}/record/{spoken(number)}",
        "report": f"{mine}/report/{spoken(number)}",
        "form": "/announce",
        "form in German": "/announce?lang=de",
        "parcel": f"{theirs}/parcel/{spoken(sent.numbers[0])}",
        "announced": theirs,
    }


@pytest.mark.parametrize("dark", [False, True], ids=["day", "night"])
def test_axe_finds_nothing_and_nothing_scrolls_sideways(open_page: Open, paths: dict[str, str], dark: bool) -> None:
    """WCAG 2.2 SC 1.4.10: reflow at 320 px."""
    page = open_page("/", width=320, dark=dark)
    for name, path in paths.items():
        page.goto(path)

        found = Axe().run(page)

        assert found.violations_count == 0, f"{name}: {found.generate_report()}"
        assert sideways(page) == 0, name


@pytest.mark.parametrize("dark", [False, True], ids=["day", "night"])
def test_axe_finds_nothing_on_what_the_bench_sees_of_it(
    as_keeper: Open, desk: Desk, clock: FixedClock, number: str, paths: dict[str, str], dark: bool
) -> None:
    object_to(desk, number, 1, LONG)
    sheet.start_soak(desk, By("command"), number, "warm")
    clock.at += timedelta(hours=5)
    page = as_keeper("/bench/", width=320, dark=dark)
    sent = paths["parcel"].rsplit("/", 1)[-1]
    for path in ("/bench/", "/bench/today", f"/bench/{sent}/receive", f"/bench/{spoken(number)}/report"):
        page.goto(path)

        found = Axe().run(page)

        assert found.violations_count == 0, f"{path}: {found.generate_report()}"
        if not path.endswith("/report"):  # made for paper: as wide on the screen as it will be
            assert sideways(page) == 0, path


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_the_owner_finds_the_record_from_the_docket_and_objects(
    open_page: Open, paths: dict[str, str], scripts: bool
) -> None:
    page = open_page(paths["docket"], width=320, scripts=scripts)
    page.get_by_role("link", name="Your device when it came").first.click()
    page.get_by_label("Or: what is not right?").fill("The scuff was not there.")
    page.get_by_role("button", name="Something is not right").click()

    expect(page.get_by_text("You said that this is not right:")).to_be_visible()
    expect(page.get_by_text("The scuff was not there.")).to_be_visible()
    page.get_by_role("link", name="Back to your repair").click()
    expect(page.get_by_text("You said that our record is not right:")).to_be_visible()


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without scripts"])
def test_a_device_is_announced_from_the_front_door(open_page: Open, paths: dict[str, str], scripts: bool) -> None:
    page = open_page("/", width=320, scripts=scripts)
    page.get_by_role("link", name="Send us a device by post").click()
    page.get_by_label("Your name").fill("Bo Fenn")
    page.get_by_label("Your e-mail address").fill("bo@example.org")
    page.get_by_label("What is it?").fill("Radio, walnut")
    page.get_by_label("What is wrong with it?").fill("Hums")
    page.get_by_label("I do not know").check()
    page.get_by_role("button", name="Announce it").click()
    expect(page.get_by_role("alert")).to_contain_text("Please ask the shop first")
    expect(page.get_by_label("What is it?")).to_have_value("Radio, walnut")
    page.get_by_label("No, or it has none").check()
    page.get_by_role("button", name="Announce it").click()

    expect(page.get_by_role("heading", name="What to do now")).to_be_visible()
    page.get_by_role("link", name="Your page").click()
    expect(page.get_by_text("We are expecting your device.")).to_be_visible()


def test_before_and_after_are_read_under_their_check_on_a_narrow_screen(open_page: Open, paths: dict[str, str]) -> None:
    line = open_page(paths["report"], width=320).get_by_role("listitem").filter(has_text="It starts")

    before, after = line.locator(".tried").all()

    assert before.inner_text() == "before the repair: does not work (no light)"
    assert after.inner_text() == "after the repair: works"


def test_the_report_of_the_bench_is_printed_on_one_sheet_with_its_warning(
    at_bench: Open, number: str, paths: dict[str, str], tmp_path: Path
) -> None:
    page = at_bench(f"/bench/{spoken(number)}/report?size=a4", dark=True)
    file = tmp_path / "report.pdf"
    page.pdf(path=file, prefer_css_page_size=True, print_background=True)
    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("there is no pdftotext on the path (Debian: apt-get install poppler-utils)")

    text = subprocess.run([reader, "-layout", file, "-"], check=True, capture_output=True, text=True).stdout

    assert text.count("\f") == 1  # a form feed ends each page
    for expected in ("Repair report", spoken(number), "What we tested", str(FUNCTION_TEST_ONLY)):
        assert expected in text
    assert "Back to the ticket" not in text

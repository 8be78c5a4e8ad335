"""Photos from a phone at the bench, over a line that is slow, breaks, or is not there; and from the desk."""

from __future__ import annotations

import base64
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from portal.actions import people
from portal.actions.desk import By, Desk, find
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.store import journal
from tests.actions.photo_shelf import kept
from tests.browser.conftest import Open, log_in
from tests.browser.line import Line
from tests.browser.looks import reads_well
from tests.pictures.conftest import _no_child_is_left  # noqa: F401 (here too)
from tests.pictures.samples import BLUE, GREEN, RED, YELLOW, alike, as_bytes, corners, four_corners, opened
from tests.web.browser import PASSWORD

SLOW_3G = {"offline": False, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 50_000}  # ms, bytes/s
SHAPES = {"wide": (2000, 1000), "square": (1500, 1500), "tall": (1000, 2000)}
ALL = list(SHAPES)


@pytest.fixture
def lines() -> list[Line]:
    """The one line there is."""
    return []


@pytest.fixture
def site(site: str, lines: list[Line]) -> Iterator[str]:
    """The address of the site at the end of a line that can break."""
    lines.append(Line(int(site.rpartition(":")[2])))
    yield lines[0].address
    lines[0].close()


@pytest.fixture
def line(site: str, lines: list[Line]) -> Line:
    """The line."""
    return lines[0]


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Pictures by their shape, sharp and bright; "large" is more than a phone needs to send; "dark" is dark."""
    folder, chance = tmp_path_factory.mktemp("pictures"), np.random.default_rng(5)

    def kept(name: str, image: Image.Image) -> Path:
        image.save(folder / f"{name}.jpg", quality=92)
        return folder / f"{name}.jpg"

    def blocks(width: int, height: int) -> Image.Image:
        few = chance.integers(60, 255, (height // 50, width // 50, 3), dtype=np.uint8)
        return Image.fromarray(few).resize((width, height), Image.Resampling.NEAREST)

    grain = Image.fromarray(chance.integers(60, 255, (1500, 4000, 3), dtype=np.uint8))
    return {
        **{name: kept(name, blocks(*size)) for name, size in SHAPES.items()},
        "large": kept("large", grain),
        "dark": kept("dark", Image.new("RGB", (900, 600), (4, 4, 4))),
    }


def at(number: str) -> str:
    return f"/bench/{spoken(number)}/photos"


def send(page: Page, *files: Path) -> None:
    page.locator("#photo").set_input_files(list(files))
    page.get_by_role("button", name="For the customer too").click()


def shapes(desk: Desk, number: str) -> list[str]:
    """The kept photos, told apart by their shape, in their order."""
    names = {1: "wide", 0: "square", -1: "tall"}
    return [names[(photo.width > photo.height) - (photo.width < photo.height)] for photo in kept(desk, number)]


def notes(desk: Desk, number: str) -> list[str]:
    with desk.reading() as connection:
        entries = journal.entries(connection, find(connection, number).id)
    return [entry.text for entry in entries if entry.event == "noted"]


def on_a_phone(at_bench: Open, number: str) -> Page:
    """The ticket's photos on a phone, ready to take some."""
    page = at_bench(at(number), width=360)
    is_ready(page)
    return page


def is_ready(page: Page) -> None:
    """The page has the key with which it keeps things, and what waited has been sent once."""
    page.locator("[data-waiting][data-ready]").wait_for(state="attached")


def status(page: Page) -> str:
    return page.locator("[data-waiting] [role=status]").inner_text()


def on_the_device(page: Page) -> list[dict[str, str]]:
    """What the browser keeps for the site, every byte as text."""
    return page.evaluate(
        """async () => {
          const opened = indexedDB.open("benchwindow-waiting");
          const database = await new Promise((resolve) => { opened.onsuccess = () => resolve(opened.result); });
          const all = database.transaction("items").objectStore("items").getAll();
          const rows = await new Promise((resolve) => { all.onsuccess = () => resolve(all.result); });
          database.close();
          const text = (part) => part ? new TextDecoder("latin1").decode(part.sealed) : "";
          return rows.map((row) => ({ about: text(row.about), file: text(row.file) }));
        }"""
    )


def test_photos_arrive_once_and_in_order_over_slow_3g_though_the_line_breaks(
    at_bench: Open, desk: Desk, number: str, line: Line, pictures: dict[str, Path]
) -> None:
    page = on_a_phone(at_bench, number)
    page.context.new_cdp_session(page).send("Network.emulateNetworkConditions", SLOW_3G)
    page.get_by_label("before the repair").check()
    line.cut_an_upload(after=40_000)

    send(page, *[pictures[name] for name in ALL])

    progress = page.locator("[data-waiting] progress").first
    expect(progress).to_be_visible()
    expect(progress).not_to_have_js_property("value", 0)
    assert progress.evaluate("bar => bar.value") < 1
    expect(page.locator(".prints figure")).to_have_count(3, timeout=60_000)
    assert line.breaks == 1
    assert shapes(desk, number) == ALL
    assert {photo.moment for photo in kept(desk, number)} == {"before"}
    expect(page.locator("[data-waiting]")).to_be_hidden()
    assert on_the_device(page) == []


def test_an_answer_that_is_lost_makes_no_second_photo(
    at_bench: Open, desk: Desk, number: str, line: Line, pictures: dict[str, Path]
) -> None:
    page = on_a_phone(at_bench, number)
    line.lose_an_answer()
    send(page, pictures["wide"], pictures["tall"])

    expect(page.locator(".prints figure")).to_have_count(2)
    assert line.breaks == 1
    assert shapes(desk, number) == ["wide", "tall"]


def test_a_large_picture_is_scaled_down_before_it_is_sent(
    at_bench: Open, desk: Desk, number: str, line: Line, pictures: dict[str, Path]
) -> None:
    page = on_a_phone(at_bench, number)
    send(page, pictures["large"])

    expect(page.locator(".prints figure")).to_have_count(1)
    assert line.uploaded < pictures["large"].stat().st_size * (2560 / 4000) ** 2 * 1.5
    assert (kept(desk, number)[0].width, kept(desk, number)[0].height) == (1600, 600)


def test_a_picture_that_lies_on_its_side_is_upright_when_it_was_scaled_down(
    at_bench: Open, desk: Desk, number: str, installation: Installation, tmp_path: Path
) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # to be turned a quarter to the right (EXIF, tag Orientation)
    (tmp_path / "picture.jpg").write_bytes(as_bytes(four_corners(3200, 2400), exif=exif))
    page = on_a_phone(at_bench, number)
    page.get_by_label("Use it even if it seems blurred or dark").check()

    send(page, tmp_path / "picture.jpg")

    expect(page.locator(".prints figure")).to_have_count(1)
    (photo,) = kept(desk, number)
    assert (photo.width, photo.height) == (1200, 1600)
    stored = installation.photo_files.read(photo.ref, "large")
    assert stored is not None
    for found, wanted in zip(corners(opened(stored)), (BLUE, RED, YELLOW, GREEN), strict=True):
        assert alike(found, wanted)


def test_heic_which_chromium_cannot_read_is_sent_as_it_is(
    at_bench: Open, desk: Desk, number: str, heif_enc: str, pictures: dict[str, Path], tmp_path: Path
) -> None:
    heic = tmp_path / "IMG_0001.HEIC"
    subprocess.run([heif_enc, "-o", heic, pictures["wide"]], check=True, capture_output=True)
    page = on_a_phone(at_bench, number)

    send(page, heic)

    expect(page.locator(".prints figure")).to_have_count(1)
    assert shapes(desk, number) == ["wide"]


def test_what_is_no_picture_is_refused_and_thrown_away(at_bench: Open, desk: Desk, number: str, tmp_path: Path) -> None:
    page = on_a_phone(at_bench, number)
    (tmp_path / "IMG_0001.HEIC").write_bytes(b"no picture at all")
    send(page, tmp_path / "IMG_0001.HEIC")

    page.get_by_text("This is not a picture the shop can read.").wait_for()
    page.get_by_role("button", name="Throw it away").click()
    expect(page.locator("[data-waiting]")).to_be_hidden()
    assert on_the_device(page) == []


def test_without_a_line_photos_and_notes_wait_over_closed_pages_and_nobody_reads_them_there(
    at_bench: Open, desk: Desk, number: str, line: Line, pictures: dict[str, Path]
) -> None:
    page = on_a_phone(at_bench, number)
    bench = page.context.new_page()
    bench.goto(f"/bench/{spoken(number)}")
    is_ready(bench)
    line.cut()
    page.get_by_label("Caption").fill("Under the shield")
    send(page, pictures["wide"], pictures["square"])
    page.get_by_text("2 not sent yet").wait_for()
    bench.get_by_label("What should be remembered, or told?").fill("It hums when warm")
    bench.get_by_role("button", name="Keep for the bench").click()
    bench.get_by_text("3 not sent yet. No connection. It goes by itself when there is one.").wait_for()
    assert bench.get_by_label("What should be remembered, or told?").input_value() == ""
    waiting = on_the_device(page)
    assert [bool(each["file"]) for each in waiting] == [True, True, False]
    for readable in ("It hums", "Under the shield", spoken(number), "JFIF", "wide.jpg"):
        assert readable not in str(waiting)

    page.close()
    bench.close()
    line.mend()
    again = at_bench_page(page, "/bench/")

    expect(again.locator("[data-waiting]")).to_be_hidden()
    assert shapes(desk, number) == ["wide", "square"]
    assert {photo.caption for photo in kept(desk, number)} == {"Under the shield"}
    assert notes(desk, number) == ["It hums when warm"]
    assert on_the_device(again) == []


def at_bench_page(page: Page, path: str) -> Page:
    """Another page of the same browser, opened when the one before it is closed; it has sent all there was."""
    opened = page.context.new_page()
    opened.goto(path)
    is_ready(opened)
    return opened


def test_what_waits_goes_when_the_line_comes_back_to_an_open_page(
    at_bench: Open, desk: Desk, number: str, line: Line, pictures: dict[str, Path]
) -> None:
    page = on_a_phone(at_bench, number)
    line.cut()
    send(page, pictures["tall"])
    page.get_by_text("1 not sent yet").wait_for()
    expect(page.get_by_role("button", name="Use it all the same")).to_be_hidden()

    line.mend()

    expect(page.locator(".prints figure")).to_have_count(1)
    assert shapes(desk, number) == ["tall"]


@pytest.mark.parametrize("button", ["Lock", "Log out"])
def test_locking_and_logging_out_leave_nothing_on_the_device_and_ask_first(
    at_bench: Open, desk: Desk, number: str, line: Line, pictures: dict[str, Path], button: str
) -> None:
    page = on_a_phone(at_bench, number)
    line.cut()
    send(page, pictures["tall"])
    page.get_by_text("1 not sent yet").wait_for()
    page.locator("[data-waiting] li[data-kept]").wait_for()

    page.once("dialog", lambda asked: asked.dismiss())
    page.get_by_role("button", name=button).click()
    page.get_by_text("1 not sent yet").wait_for()
    assert len(on_the_device(page)) == 1
    asked = []
    page.once("dialog", lambda dialog: (asked.append(dialog.message), line.mend(), dialog.accept()))
    page.get_by_role("button", name=button).click()

    page.wait_for_url(re.compile("/unlock|/login"))
    assert "1 not sent yet. Not everything has been sent." in asked[0]
    assert on_the_device(page) == []
    assert kept(desk, number) == []


def test_what_waited_when_ones_logins_were_ended_can_never_be_read_again(
    at_bench: Open, desk: Desk, technician: By, number: str, line: Line, pictures: dict[str, Path]
) -> None:
    page = on_a_phone(at_bench, number)
    line.cut()
    send(page, pictures["tall"])
    page.locator("[data-waiting] li[data-kept]").wait_for()
    page.close()
    people.end_logins(desk, technician, PASSWORD)
    line.mend()

    again = page.context.new_page()
    log_in(again, "Robin")

    again.get_by_text("What waited here could not be read any more").wait_for()
    assert on_the_device(again) == []
    assert kept(desk, number) == []


def test_a_photo_that_seems_dark_waits_for_a_word_and_holds_no_other_up(
    at_bench: Open, desk: Desk, number: str, pictures: dict[str, Path]
) -> None:
    page = on_a_phone(at_bench, number)
    send(page, pictures["dark"], pictures["tall"])
    page.get_by_text("This picture seems very dark.").wait_for()
    expect(page.locator("[data-waiting] li")).to_have_count(1)
    expect(page.locator("[data-waiting] progress")).to_be_hidden()
    assert shapes(desk, number) == ["tall"]

    page.reload()
    page.get_by_role("button", name="Use it all the same").click()

    expect(page.locator(".prints figure")).to_have_count(2)
    assert shapes(desk, number) == ["tall", "wide"]


def test_a_login_that_runs_out_loses_nothing_and_nobody_else_sends_it(
    at_bench: Open, desk: Desk, keeper: By, number: str, line: Line, pictures: dict[str, Path]
) -> None:
    page = on_a_phone(at_bench, number)
    line.cut()
    send(page, pictures["tall"])
    page.locator("[data-waiting] li[data-kept]").wait_for()
    page.context.clear_cookies()
    line.mend()
    page.get_by_text("1 not sent yet. Log in again, and it goes by itself.").wait_for()

    other = page.context.new_page()
    log_in(other, "Kim")
    other.get_by_text("1 of somebody else wait on this device.").wait_for()
    page.evaluate("dispatchEvent(new Event('online'))")
    page.get_by_text("1 not sent yet. Log in again, and it goes by itself.").wait_for()
    assert kept(desk, number) == []
    page.context.clear_cookies()
    log_in(other, "Robin")
    is_ready(other)

    expect(other.locator("[data-waiting]")).to_be_hidden()
    assert shapes(desk, number) == ["tall"]
    assert on_the_device(other) == []


def test_a_page_that_can_keep_nothing_sends_all_the_same_and_says_so(
    at_bench: Open, desk: Desk, number: str, line: Line, pictures: dict[str, Path]
) -> None:
    page = at_bench("/account", width=360)
    page.add_init_script("Object.defineProperty(crypto, 'subtle', { value: undefined })")  # as without HTTPS
    page.goto(at(number))
    is_ready(page)
    line.cut()
    send(page, pictures["tall"])
    page.get_by_text("This page cannot keep anything on the device").wait_for()

    line.mend()

    expect(page.locator(".prints figure")).to_have_count(1)
    assert shapes(desk, number) == ["tall"]


LOSES_ITS_DATABASE = """
  const { transaction } = IDBDatabase.prototype;
  let times = 0;
  IDBDatabase.prototype.transaction = function (...how) {
    times += 1;
    if (times === 3) this.close(); // as WebKit closes it while a page sleeps
    return transaction.apply(this, how);
  };
"""


def test_a_browser_that_closes_its_database_meanwhile_keeps_all_the_same(
    at_bench: Open, number: str, line: Line, pictures: dict[str, Path]
) -> None:
    page = at_bench("/account", width=360)
    page.add_init_script(LOSES_ITS_DATABASE)
    page.goto(at(number))
    is_ready(page)
    line.cut()

    send(page, pictures["tall"])

    page.locator("[data-waiting] li[data-kept]").wait_for()
    assert len(on_the_device(page)) == 1


OF_BEFORE_2022 = """
  delete AbortSignal.timeout;
  delete HTMLFormElement.prototype.requestSubmit;
  const made = createImageBitmap;
  createImageBitmap = (file, how) => how ? Promise.reject(new TypeError("imageOrientation")) : made(file);
"""


def test_an_older_browser_sends_photos_and_notes_too(
    at_bench: Open, desk: Desk, number: str, pictures: dict[str, Path]
) -> None:
    page = at_bench("/account", width=360)
    page.add_init_script(OF_BEFORE_2022)
    page.goto(at(number))
    is_ready(page)
    send(page, pictures["large"])
    expect(page.locator(".prints figure")).to_have_count(1)

    page.goto(f"/bench/{spoken(number)}")
    page.get_by_label("What should be remembered, or told?").fill("It hums when warm")
    page.get_by_role("button", name="Keep for the bench").click()

    expect(page.locator(".journal li", has_text="It hums when warm")).to_be_visible()
    assert notes(desk, number) == ["It hums when warm"]


def test_what_does_not_go_is_tried_again_after_waits_that_grow(
    at_bench: Open, number: str, pictures: dict[str, Path]
) -> None:
    page = at_bench("/account", width=360)
    page.clock.install()
    page.goto(at(number))
    is_ready(page)
    tries = []
    page.route("**/bench/waiting", lambda route: (tries.append(route), route.abort()))
    send(page, pictures["tall"])
    page.get_by_text("1 not sent yet. No connection.").wait_for()

    for tried, seconds in enumerate([1, 2, 4, 8, 16, 32, 60, 60], start=1):
        page.evaluate("navigator.locks.request('benchwindow-waiting', () => {})")  # until its turn is over
        assert len(tries) == tried
        page.clock.run_for((seconds - 0.5) * 1000)
        assert len(tries) == tried
        with page.expect_event("requestfailed"):
            page.clock.run_for(500)


HAND_OVER = """([event, name, data]) => {
  const bytes = Uint8Array.from(atob(data), (letter) => letter.charCodeAt(0));
  const files = new DataTransfer();
  files.items.add(new File([bytes], name, { type: "image/jpeg" }));
  const how = event === "paste" ? { clipboardData: files } : { dataTransfer: files };
  const made = event === "paste" ? ClipboardEvent : DragEvent;
  document.body.dispatchEvent(new made(event, { bubbles: true, cancelable: true, ...how }));
}"""


def test_at_the_desk_pictures_are_pasted_and_dropped(
    at_bench: Open, desk: Desk, number: str, pictures: dict[str, Path]
) -> None:
    page = at_bench(at(number), width=1280)
    is_ready(page)
    for event, name in (("paste", "wide"), ("drop", "tall")):
        page.evaluate(HAND_OVER, [event, f"{name}.jpg", base64.b64encode(pictures[name].read_bytes()).decode()])

    page.get_by_role("button", name="Keep for the bench").click()

    expect(page.locator(".prints figure")).to_have_count(2)
    assert shapes(desk, number) == ["wide", "tall"]
    assert {photo.audience for photo in kept(desk, number)} == {"bench"}


def test_without_scripts_the_form_sends_them_all_the_same(
    at_bench: Open, desk: Desk, number: str, pictures: dict[str, Path]
) -> None:
    page = at_bench(at(number), width=360, scripts=False)
    send(page, pictures["wide"], pictures["tall"])

    expect(page.locator(".prints figure")).to_have_count(2)
    assert shapes(desk, number) == ["wide", "tall"]


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_what_waits_has_no_fault_that_axe_finds_and_fits_320_px(
    at_bench: Open, number: str, line: Line, pictures: dict[str, Path], dark: bool
) -> None:
    page = at_bench(at(number), width=320, dark=dark)
    is_ready(page)
    send(page, pictures["dark"])
    page.get_by_text("This picture seems very dark.").wait_for()
    line.cut()
    send(page, pictures["tall"])
    page.get_by_text("2 not sent yet. No connection.").wait_for()

    reads_well(page)

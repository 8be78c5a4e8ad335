"""Residue: a life full of marks, and after its end not one of them in any byte under the data folder.

GDPR (EU) 2016/679 Art. 5(1)(e). The search is a script that imports nothing of ours. SQLite; what PostgreSQL keeps in
its own files is for its keeper, and the manual says how.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from notifications.instants import FixedClock
from portal import cli
from portal.actions import archives, own_data, photos, rights
from portal.actions.desk import CUSTOMER
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, Second, take_in
from portal.actions.links import send_link_again
from portal.actions.moves import move
from portal.actions.notes import correct, note
from portal.actions.rights import Asked
from portal.main import Installation, open_installation
from portal.rules.numbers import spoken
from tests.conftest import BASE_URL, BENCH, MONDAY, SECRET, load_default_policy
from tests.pictures.samples import as_bytes, four_corners

SCRIPT = Path(__file__).parent / "look_for.py"
MARKS = {
    name: f"qz{name}-{name}-{name}zq"  # so long that no other bytes look like it in base64
    for name in (
        "name",
        "mail",
        "device",
        "fault",
        "note",
        "told",
        "right",
        "second",
        "caption",
        "reason",
        "why",
        "asked",
        "stated",
    )
}
PHONE = "7700900517"


@pytest.fixture
def clock() -> FixedClock:
    return FixedClock(MONDAY)


@pytest.fixture
def house(tmp_path: Path, clock: FixedClock, monkeypatch: pytest.MonkeyPatch) -> Iterator[Installation]:
    monkeypatch.setenv("BENCHWINDOW_SECRET_KEY", SECRET.hex())
    monkeypatch.setenv("BENCHWINDOW_BASE_URL", BASE_URL)
    house = open_installation(tmp_path, clock=clock)
    load_default_policy(house.desk)
    yield house
    house.engine.dispose()


def a_whole_life(house: Installation) -> str:
    """Every field, note, photo, caption and message of a repair with a mark of its own. Tells its number."""
    desk, m = house.desk, MARKS
    second = Second(m["second"], f"{m['second']}@example.org", "", may_be_told=True)
    visit = NewVisit(
        [NewDevice(m["device"], m["fault"])], m["name"], f"{m['mail']}@example.org", "0" + PHONE, second=second
    )
    number = take_in(desk, BENCH, visit).numbers[0]
    for each in range(30):  # so that pages of the database split and fill
        note(desk, BENCH, number, f"{m['note']} {each} " + "and so on " * 40)
    note(desk, BENCH, number, m["told"], audience="customer")
    correct(desk, BENCH, number, 2, m["right"])
    photos.add(desk, house.photo_files, BENCH, number, as_bytes(four_corners()), caption=m["caption"])
    send_link_again(desk, number, f"{m['mail']}@example.org", "somewhere")
    own_data.state(desk, number, m["stated"])
    ref = rights.enter(desk, CUSTOMER, Asked("access", "page", number=number, words=m["asked"]))
    rights.settle(desk, BENCH, ref, "done", "Handed over")  # while it waits, what they need of it stays
    move(desk, BENCH, number, "cleaning", confirmed=True)
    list(house.sweep())
    return_unrepaired(desk, BENCH, number, m["reason"])
    list(house.sweep())
    return number


def look(folder: Path) -> str:
    marks = [*MARKS.values(), PHONE]
    ran = subprocess.run([sys.executable, SCRIPT, folder, *marks], capture_output=True, text=True, check=False)
    assert ran.stderr == ""
    return ran.stdout


def empty_mailbox(house: Installation) -> None:
    """A maildir is the mailbox of whoever gets the mail: it stands for the customers' own."""
    for file in house.settings.mailbox.rglob("*"):
        if file.is_file():
            file.unlink()


def test_the_search_finds_what_is_there(house: Installation) -> None:
    a_whole_life(house)

    found = look(house.settings.data)

    assert [mark for mark in (*MARKS.values(), PHONE) if mark not in found and mark != MARKS["why"]] == []


def test_after_the_last_period_no_mark_is_left(house: Installation, clock: FixedClock, tmp_path: Path) -> None:
    a_whole_life(house)
    empty_mailbox(house)
    house.engine.dispose()
    later = (clock.now() + timedelta(days=70)).isoformat()

    assert cli.main(["--data", str(tmp_path), "retention", "--at", later, "--apply"]) == 0

    assert look(house.settings.data) == ""


def test_after_an_erasure_no_mark_is_left(house: Installation, tmp_path: Path) -> None:
    number = a_whole_life(house)
    empty_mailbox(house)
    house.engine.dispose()

    assert cli.main(["--data", str(tmp_path), "erase", spoken(number), "--why", "asked for"]) == 0

    assert look(house.settings.data) == ""


def test_the_clock_alone_leaves_no_mark(house: Installation, clock: FixedClock) -> None:
    a_whole_life(house)
    empty_mailbox(house)
    clock.at += timedelta(days=70)

    list(house.sweep(explicit=True))
    house.engine.dispose()

    assert look(house.settings.data) == ""


def test_an_old_archive_brings_nothing_back_that_was_erased(
    house: Installation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    number = a_whole_life(house)
    old = tmp_path.parent / f"{tmp_path.name}-old.sqlite"
    archives.make(house.desk, house.photo_files, old)
    house.engine.dispose()
    assert cli.main(["--data", str(tmp_path), "erase", spoken(number), "--why", "asked for"]) == 0
    fresh = tmp_path.parent / f"{tmp_path.name}-fresh"
    fresh.mkdir()
    (fresh / "erased").write_bytes((tmp_path / "erased").read_bytes())

    assert cli.main(["--data", str(fresh), "restore", str(old)]) == 0

    assert look(fresh) == ""

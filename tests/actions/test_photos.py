"""A photo is taken in clean, once, and is gone everywhere when it is withdrawn."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from notifications.instants import FixedClock
from portal.actions import photos as deeds
from portal.actions.desk import CUSTOMER, Desk, NotFound, find
from portal.actions.intake import NewVisit, take_in
from portal.pictures import worker
from portal.rules.refusals import AskFirst, Unfit
from portal.store import facts, journal, photos
from portal.store.photo_files import SIZES, PhotoFiles
from tests.actions.aftermath import messages, ticket_of
from tests.actions.photo_shelf import kept, no_room
from tests.conftest import BENCH
from tests.pictures.samples import MARK, as_bytes, full_of_marks


@pytest.fixture(autouse=True)
def _no_child_is_left():
    yield
    worker.dismiss()


@pytest.fixture(scope="module")
def picture() -> bytes:
    """A sharp, bright picture."""
    noise = np.random.default_rng(3).integers(60, 255, (300, 400, 3), dtype=np.uint8)
    return as_bytes(Image.fromarray(noise))


def files_in(tmp_path: Path) -> list[Path]:
    return [path for path in (tmp_path / "photos").rglob("*") if path.is_file()]


def test_a_photo_is_kept_in_two_sizes_with_its_words(
    desk: Desk, files: PhotoFiles, number: str, picture: bytes
) -> None:
    deeds.add(desk, files, BENCH, number, picture, moment="before", caption="As it came")

    (photo,) = kept(desk, number)
    assert (photo.moment, photo.caption, photo.stage, photo.width) == ("before", "As it came", "received", 400)
    assert all(files.read(photo.ref, size) for size in SIZES)


def test_nothing_of_the_file_that_was_sent_is_in_any_byte_of_the_store(
    desk: Desk, files: PhotoFiles, number: str, tmp_path: Path
) -> None:
    deeds.add(desk, files, BENCH, number, full_of_marks(), confirmed=True)

    assert len(files_in(tmp_path)) == 2
    assert all(MARK not in path.read_bytes() for path in files_in(tmp_path))


def test_a_form_sent_twice_keeps_one_photo(desk: Desk, files: PhotoFiles, number: str, picture: bytes) -> None:
    first = deeds.add(desk, files, BENCH, number, picture, deed_key="a" * 32)
    again = deeds.add(desk, files, BENCH, number, picture, deed_key="a" * 32)

    assert (first.repeated, again.repeated) == (False, True)
    assert len(kept(desk, number)) == 1


def test_what_is_no_picture_leaves_neither_row_nor_file(
    desk: Desk, files: PhotoFiles, number: str, tmp_path: Path
) -> None:
    with pytest.raises(Unfit, match="not a picture"):
        deeds.add(desk, files, BENCH, number, b"hello")

    assert kept(desk, number) == []
    assert not (tmp_path / "photos").exists()


def test_a_blurred_photo_is_asked_about_once(desk: Desk, files: PhotoFiles, number: str) -> None:
    flat = as_bytes(Image.new("RGB", (400, 300), (120, 130, 140)))

    with pytest.raises(AskFirst, match="blurred"):
        deeds.add(desk, files, BENCH, number, flat)
    deeds.add(desk, files, BENCH, number, flat, confirmed=True)

    assert len(kept(desk, number)) == 1


def test_no_room_is_said_in_words_and_nothing_is_half_kept(
    desk: Desk, files: PhotoFiles, number: str, picture: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    no_room(monkeypatch)

    with pytest.raises(deeds.NoRoom, match="no room"):
        deeds.add(desk, files, BENCH, number, picture)

    assert kept(desk, number) == []
    assert files_in(tmp_path) == []


def test_the_customer_is_told_of_photos_for_them_by_the_shop(
    desk: Desk, files: PhotoFiles, number: str, picture: bytes
) -> None:
    before = messages(desk)

    deeds.add(desk, files, BENCH, number, picture, audience="bench")
    deeds.add(desk, files, CUSTOMER, number, picture)
    deeds.add(desk, files, BENCH, number, picture)

    ticket = ticket_of(desk, number)
    assert messages(desk)[len(before) :] == [("noted", ticket.ref, {"entry": ticket.revision})]


def test_a_withdrawn_photo_is_gone_from_row_and_disk_and_the_journal_says_so(
    desk: Desk, files: PhotoFiles, number: str, picture: bytes, tmp_path: Path
) -> None:
    deeds.add(desk, files, BENCH, number, picture)
    deeds.withdraw(desk, files, BENCH, number, kept(desk, number)[0].ref)

    assert kept(desk, number) == []
    assert files_in(tmp_path) == []
    with desk.reading() as connection:
        entries = journal.entries(connection, find(connection, number).id)
    assert [entry.event for entry in entries][-2:] == ["photographed", "photo_withdrawn"]


def test_another_tickets_photo_cannot_be_withdrawn(
    desk: Desk, files: PhotoFiles, number: str, arrival: NewVisit, picture: bytes
) -> None:
    other = take_in(desk, BENCH, arrival).numbers[0]
    deeds.add(desk, files, BENCH, other, picture)

    with pytest.raises(NotFound):
        deeds.withdraw(desk, files, BENCH, number, kept(desk, other)[0].ref)


def test_the_gates_see_photos_from_before_and_after(desk: Desk, files: PhotoFiles, number: str, picture: bytes) -> None:
    deeds.add(desk, files, BENCH, number, picture, moment="before")

    with desk.reading() as connection:
        known = facts.facts(connection, find(connection, number), desk.policy(connection))
    assert (known.before_photo, known.after_photo) == (True, False)


def test_the_customer_sees_their_own_photos_and_nothing_kept_for_the_bench(
    desk: Desk, files: PhotoFiles, number: str, arrival: NewVisit, picture: bytes
) -> None:
    deeds.add(desk, files, BENCH, number, picture, audience="customer")
    deeds.add(desk, files, BENCH, number, picture, audience="bench")
    other = take_in(desk, BENCH, arrival).numbers[0]
    with desk.reading() as connection:
        mine, theirs = find(connection, number), find(connection, other)
        shown, hidden = photos.of_ticket(connection, mine.id)

        assert photos.for_customer(connection, mine.visit_id, shown.ref) == shown
        assert photos.for_customer(connection, mine.visit_id, hidden.ref) is None
        assert photos.for_customer(connection, theirs.visit_id, shown.ref) is None


def test_a_file_that_no_row_points_to_is_swept_up_after_a_day(
    desk: Desk, files: PhotoFiles, number: str, picture: bytes, tmp_path: Path, clock: FixedClock
) -> None:
    deeds.add(desk, files, BENCH, number, picture)
    files.write("LOST", "large", b"left by a killed upload")
    (tmp_path / "photos" / "LO" / "LOST-small.jpg.part").write_bytes(b"half")
    soon, later = datetime.now(UTC), datetime.now(UTC) + timedelta(days=2)

    assert deeds.sweep_up(desk, files, soon) == (0, 0)
    assert deeds.sweep_up(desk, files, later) == (4, 2)
    assert len(files_in(tmp_path)) == 2


@pytest.mark.parametrize("name", ["../secret", "", "a/b", "x.y"])
def test_a_photo_has_no_name_that_leads_elsewhere(files: PhotoFiles, name: str) -> None:
    with pytest.raises(ValueError, match="not the name of a photo"):
        files.read(name, "large")

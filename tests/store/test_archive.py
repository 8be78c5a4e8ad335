"""The archive: the whole shop in one file from either database, and back into either, whole or not at all."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pyrage
import pytest
from sqlalchemy import Engine

from notifications.instants import FixedClock
from portal.actions import archives, erasure, links, own_data, photo_copies, photo_hiding, photos, publication
from portal.actions.desk import Desk, find
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.notes import note
from portal.actions.wording import save_words
from portal.links import Links
from portal.rules import wording
from portal.rules.picture_parts import Part
from portal.rules.refusals import Refused
from portal.rules.retention import Kept
from portal.rules.wording_occasions import OCCASIONS
from portal.store import archive, house, schema, visits
from portal.store import photos as photo_rows
from portal.store import publication as publication_rows
from portal.store.archive import NotAnArchive
from portal.store.engine import open_engine, sqlite_url
from portal.store.ledger import FileLedger
from portal.store.photo_files import LARGE, PhotoFiles
from tests.actions.aftermath import ALL_TABLES, everything, ticket_of
from tests.conftest import BASE_URL, BENCH, SECRET, load_default_policy
from tests.databases import Postgres
from tests.pictures.samples import as_bytes, four_corners

READY = OCCASIONS["ready", "always"]


@pytest.fixture
def ledger(tmp_path: Path) -> FileLedger:
    return FileLedger(tmp_path / "erased")


@pytest.fixture
def desk(engine: Engine, clock: FixedClock, chooser, ledger: FileLedger) -> Desk:  # type: ignore[no-untyped-def]
    desk = Desk(engine, clock, Links(BASE_URL, SECRET), chooser, ledger=ledger)
    load_default_policy(desk)
    return desk


@pytest.fixture
def files(tmp_path: Path) -> PhotoFiles:
    return PhotoFiles(str(tmp_path / "photos"))


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def another(request: pytest.FixtureRequest, tmp_path: Path, desk: Desk) -> Iterator[Desk]:
    """A desk at an empty, migrated database of each kind, in another house."""
    server: Postgres | None = None
    if request.param == "postgresql":
        server = request.getfixturevalue("postgres")
        name = server.new_database()
    engine = open_engine(server.url(name) if server else sqlite_url(tmp_path / "another.db"))
    schema.upgrade(engine)
    yield Desk(engine, desk.clock, desk.links, desk.chooser, ledger=desk.ledger)
    engine.dispose()
    if server:
        server.drop(name)


@pytest.fixture
def other_files(tmp_path: Path) -> PhotoFiles:
    return PhotoFiles(str(tmp_path / "other photos"))


@pytest.fixture
def full(desk: Desk, files: PhotoFiles, number: str) -> str:
    """A shop with a little of everything; tells the number of a ticket."""
    note(desk, BENCH, number, "The socket is torn off: „dort“ 🔧", audience="customer")
    photos.add(desk, files, BENCH, number, as_bytes(four_corners()), moment="before")
    over = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], name="Bea", email="bea@example.org")).numbers[0]
    return_unrepaired(desk, BENCH, over, "No parts.")
    save_words(desk, BENCH, READY, "en", {wording.Part.SUBJECT: "Come and get your {device}"})
    return number


def ids(desk: Desk) -> dict[str, list[tuple]]:
    return {name: rows for name, rows in everything(desk, ALL_TABLES).items() if name not in ("house", "heartbeats")}


def test_everything_comes_back_on_either_database(
    desk: Desk, files: PhotoFiles, full: str, another: Desk, other_files: PhotoFiles, tmp_path: Path
) -> None:
    archives.make(desk, files, tmp_path / "shop.sqlite")

    archives.restore(another, other_files, tmp_path / "shop.sqlite")

    assert ids(another) == ids(desk)
    for ref, _path, _written in files.all():
        assert other_files.read(ref, LARGE) == files.read(ref, LARGE)


def test_a_restored_shop_works_on(
    desk: Desk, files: PhotoFiles, full: str, another: Desk, other_files: PhotoFiles, tmp_path: Path
) -> None:
    archives.make(desk, files, tmp_path / "shop.sqlite")
    archives.restore(another, other_files, tmp_path / "shop.sqlite")

    note(another, BENCH, full, "Going on.")
    taken = take_in(another, BENCH, NewVisit([NewDevice("Lamp", "Flickers")], name="Cy"))

    assert ticket_of(another, taken.numbers[0]).device == "Lamp"
    assert save_words(another, BENCH, READY, "en", {wording.Part.SUBJECT: "It is done"}) == 2


def test_it_is_held_until_it_is_released(
    desk: Desk, files: PhotoFiles, full: str, another: Desk, other_files: PhotoFiles, tmp_path: Path
) -> None:
    archives.make(desk, files, tmp_path / "shop.sqlite")
    archives.restore(another, other_files, tmp_path / "shop.sqlite")
    with another.reading() as connection:
        assert house.when(connection, house.HELD_SINCE) == another.clock.now()

    assert archives.release(another, send=False) > 0

    with another.reading() as connection:
        assert house.when(connection, house.HELD_SINCE) is None
    with pytest.raises(Refused, match="not held"):
        archives.release(another, send=True)


def test_what_was_hidden_since_does_not_come_back(
    desk: Desk, files: PhotoFiles, full: str, another: Desk, other_files: PhotoFiles, tmp_path: Path
) -> None:
    (photo,) = {ref for ref, _path, _written in files.all()}
    photo_copies.point_out(desk, files, BENCH, full, photo, "ring", [Part(10, 10, 20, 20)])
    archives.make(desk, files, tmp_path / "shop.sqlite")
    photo_hiding.hide(desk, files, BENCH, full, photo, [Part(50, 50, 20, 20)])

    archives.restore(another, other_files, tmp_path / "shop.sqlite")

    assert list(other_files.all()) == []
    with another.reading() as connection:
        assert photo_rows.of_ticket(connection, find(connection, full).id) == []


def test_a_consent_that_was_taken_back_since_does_not_come_back(
    desk: Desk, files: PhotoFiles, full: str, another: Desk, other_files: PhotoFiles, tmp_path: Path
) -> None:
    publication.allow(desk, BENCH, full)
    archives.make(desk, files, tmp_path / "shop.sqlite")
    publication.take_back(desk, BENCH, full)

    archives.restore(another, other_files, tmp_path / "shop.sqlite")

    with another.reading() as connection:
        assert publication_rows.standing(connection, find(connection, full).id) is None


def test_what_was_erased_since_is_erased_again(
    desk: Desk, files: PhotoFiles, full: str, another: Desk, other_files: PhotoFiles, tmp_path: Path
) -> None:
    archives.make(desk, files, tmp_path / "shop.sqlite")
    (photo,) = {ref for ref, _path, _written in files.all()}
    photos.withdraw(desk, files, BENCH, full, photo)
    return_unrepaired(desk, BENCH, full, "As wished.")
    erasure.erase(desk, files, BENCH, full, "asked for")

    archives.restore(another, other_files, tmp_path / "shop.sqlite")

    assert other_files.read(photo, LARGE) is None
    left = repr(everything(another))
    assert [trace for trace in ("Ada", "ada@example.org", "console, blue", "torn off") if trace in left] == []
    assert "bea@example.org" in left


def test_what_was_restricted_or_objected_to_since_is_so_again_and_can_be_ended(
    desk: Desk, files: PhotoFiles, full: str, another: Desk, other_files: PhotoFiles, tmp_path: Path
) -> None:
    """Art. 18(2) and 21 GDPR."""
    archives.make(desk, files, tmp_path / "shop.sqlite")
    own_data.restrict(desk, full)
    own_data.objects(desk, full, "No reminders.")

    archives.restore(another, other_files, tmp_path / "shop.sqlite")

    with pytest.raises(Refused, match="only stored"):
        note(another, BENCH, full, "It is open.", audience="customer")
    with another.reading() as connection:
        (owner,) = visits.contacts_of(connection, ticket_of(another, full).visit_id)
    assert owner.no_reminders
    own_data.use_again(another, full)
    note(another, BENCH, full, "It is open.", audience="customer")


def test_links_that_were_renewed_since_stay_renewed(
    desk: Desk, files: PhotoFiles, full: str, another: Desk, other_files: PhotoFiles, tmp_path: Path
) -> None:
    archives.make(desk, files, tmp_path / "shop.sqlite")
    links.renew_docket(desk, BENCH, full)
    with desk.reading() as connection:
        owner = visits.contacts_of(connection, ticket_of(desk, full).visit_id)[0]
    links.renew_contact(desk, BENCH, full, owner.ref)

    archives.restore(another, other_files, tmp_path / "shop.sqlite")

    with another.reading() as connection:
        visit = visits.by_id(connection, ticket_of(another, full).visit_id)
        (contact,) = visits.contacts_of(connection, visit.id)
    assert (visit.docket_version, contact.link_version) == (2, 2)


def test_what_has_outlived_its_period_meanwhile_goes_before_anybody_looks(
    desk: Desk, files: PhotoFiles, full: str, another: Desk, other_files: PhotoFiles, tmp_path: Path, clock: FixedClock
) -> None:
    archives.make(desk, files, tmp_path / "shop.sqlite")
    clock.at += timedelta(days=100)

    archives.restore(another, other_files, tmp_path / "shop.sqlite")

    assert "bea@example.org" not in repr(everything(another))
    assert "ada@example.org" in repr(everything(another))


def test_it_can_be_read_and_searched_with_anything_that_reads_sqlite(
    desk: Desk, files: PhotoFiles, full: str, tmp_path: Path
) -> None:
    archives.make(desk, files, tmp_path / "shop.sqlite")

    with sqlite3.connect(tmp_path / "shop.sqlite") as plain:
        strict = dict(plain.execute("SELECT name, strict FROM pragma_table_list WHERE name IN ('tickets', 'journal')"))
        found = plain.execute("SELECT count(*) FROM journal_fts WHERE journal_fts MATCH 'socket'").fetchone()
    plain.close()

    assert strict == {"tickets": 1, "journal": 1}
    assert found == (1,)
    assert (tmp_path / "shop.sqlite").stat().st_mode & 0o777 == 0o600


def _cut(content: bytes) -> bytes:
    return content[: len(content) // 2]


def _flip(content: bytes) -> bytes:
    return content[:9000] + bytes(4000) + content[13000:]


@pytest.mark.parametrize("spoil", [_cut, _flip, lambda _content: b"", lambda _content: b"not a database at all" * 99])
def test_a_damaged_file_is_refused_whole(
    desk: Desk,
    files: PhotoFiles,
    full: str,
    another: Desk,
    other_files: PhotoFiles,
    tmp_path: Path,
    spoil: Callable[[bytes], bytes],
) -> None:
    file = tmp_path / "shop.sqlite"
    archives.make(desk, files, file)
    file.write_bytes(spoil(file.read_bytes()))

    with pytest.raises(NotAnArchive, match="Nothing was restored"):
        archives.restore(another, other_files, file)

    assert {name for name, rows in everything(another).items() if rows} == set()
    assert list(other_files.all()) == []


def test_a_row_that_is_missing_is_noticed(desk: Desk, files: PhotoFiles, full: str, tmp_path: Path) -> None:
    file = tmp_path / "shop.sqlite"
    archives.make(desk, files, file)
    with sqlite3.connect(file) as plain:
        plain.execute("DELETE FROM contacts")
    plain.close()

    with pytest.raises(NotAnArchive, match="damaged or was not finished"):
        archive.read_head(file)


def test_a_plain_copy_of_a_database_is_no_archive(tmp_path: Path, sqlite_database: str) -> None:
    copy = Path(sqlite_database.removeprefix("sqlite:///"))

    with pytest.raises(NotAnArchive, match="plain copy"):
        archive.read_head(copy)


def test_a_shop_that_holds_something_is_not_written_over(
    desk: Desk, files: PhotoFiles, full: str, tmp_path: Path
) -> None:
    archives.make(desk, files, tmp_path / "shop.sqlite")
    before = everything(desk)

    with pytest.raises(NotAnArchive, match="holds something already"):
        archives.restore(desk, files, tmp_path / "shop.sqlite")

    assert everything(desk) == before


def test_an_archive_that_cannot_be_written_leaves_the_older_one(
    desk: Desk, files: PhotoFiles, full: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "shop.sqlite"
    archives.make(desk, files, file)
    before = file.read_bytes()
    monkeypatch.setattr(archive, "_copy_photo", lambda *_: (_ for _ in ()).throw(OSError("No space left on device")))

    with pytest.raises(OSError, match="No space"):
        archives.make(desk, files, file)

    assert file.read_bytes() == before
    assert [each.name for each in tmp_path.glob(".shop*")] == []


def test_nightly_archives_are_made_once_a_night_and_dropped_in_time(
    desk: Desk, files: PhotoFiles, full: str, tmp_path: Path, clock: FixedClock
) -> None:
    folder = tmp_path / "archives"

    def night() -> tuple[int, int]:
        return archives.nightly(desk, files, folder, 2, "", clock.now())

    assert night() == (1, 1)
    assert night() == (0, 0)
    for _each in range(4):
        clock.at += timedelta(days=1)
        night()

    assert sorted(each.name for each in folder.iterdir()) == [
        "2026-03-04.sqlite",
        "2026-03-05.sqlite",
        "2026-03-06.sqlite",
    ]


def test_what_a_kill_left_of_an_archive_goes_after_a_day_or_with_the_next_erasure(
    desk: Desk, files: PhotoFiles, full: str, tmp_path: Path, clock: FixedClock
) -> None:
    """It holds every customer's name (Art. 5(1)(e) GDPR)."""
    folder = tmp_path / "archives"
    folder.mkdir()

    def left_over(name: str, days: int) -> Path:
        file = folder / name
        file.write_bytes(b"Ada Marsh")
        written = (clock.now() - timedelta(days=days)).timestamp()
        os.utime(file, (written, written))
        return file

    killed, running = left_over(".2026-02-28.sqlite.part", 2), left_over(".tonight", 0)
    archives.nightly(desk, files, folder, 2, "", clock.now())
    assert (killed.exists(), running.exists()) == (False, True)

    archives.drop_all(folder)

    assert list(folder.iterdir()) == []


def test_a_nightly_archive_is_read_by_its_recipient_only(
    desk: Desk, files: PhotoFiles, full: str, tmp_path: Path, clock: FixedClock
) -> None:
    whose = pyrage.x25519.Identity.generate()
    archives.nightly(desk, files, tmp_path / "archives", 2, str(whose.to_public()), clock.now())

    (made,) = (tmp_path / "archives").iterdir()
    assert made.name == "2026-03-02.sqlite.age"
    assert b"ada@example.org" not in made.read_bytes()
    opened = tmp_path / "opened.sqlite"
    opened.write_bytes(pyrage.decrypt(made.read_bytes(), [whose]))
    assert archive.read_head(opened).rows > 0


def test_a_recipient_that_is_none_is_told(desk: Desk, files: PhotoFiles, tmp_path: Path, clock: FixedClock) -> None:
    with pytest.raises(archives.NoEncryption, match="no age recipient"):
        archives.nightly(desk, files, tmp_path / "archives", 2, "age1nobody", clock.now())

    assert list((tmp_path / "archives").iterdir()) == []


def test_an_erasure_names_what_stays_and_why(desk: Desk, files: PhotoFiles, number: str) -> None:
    with pytest.raises(Refused, match="still needed"):
        erasure.erase(desk, files, BENCH, number, "asked for")
    return_unrepaired(desk, BENCH, number, "As wished.")

    told = erasure.erase(desk, files, BENCH, number, "asked for")

    assert set(told.gone) == {
        Kept.CONTACT,
        Kept.POST_ADDRESS,
        Kept.PUSH,
        Kept.DEVICE,
        Kept.RECORD,
        Kept.PHOTO,
        Kept.PUBLICATION,
    }
    assert {stays.kept for stays in told.stays} == {Kept.APPROVAL, Kept.MONEY}  # Art. 17(3)(b) and (e)
    assert {stays.until.year for stays in told.stays} == {2032}

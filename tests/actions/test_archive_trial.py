"""An archive is tried out in a place of its own: what can be brought back is said so, what is wrong is named."""

from __future__ import annotations

import os
import sqlite3
from datetime import timedelta
from pathlib import Path

import pyrage
import pytest

from notifications.instants import FixedClock
from portal.actions import archive_trial, archives, erasure, photos, price_terms
from portal.actions.archives import NoEncryption
from portal.actions.desk import Desk
from portal.actions.handover import return_unrepaired
from portal.actions.price_terms import TypedTerms
from portal.rules.numbers import spoken
from portal.store import house
from portal.store.archive import NotAnArchive
from portal.store.photo_files import PhotoFiles
from tests.actions.aftermath import everything
from tests.conftest import BENCH
from tests.pictures.samples import as_bytes, four_corners


@pytest.fixture
def made(desk: Desk, files: PhotoFiles, number: str, tmp_path: Path) -> Path:
    """An archive of a shop with a photo and a proof."""
    photos.add(desk, files, BENCH, number, as_bytes(four_corners()), moment="before")
    price_terms.agree_terms(desk, BENCH, number, TypedTerms("fixed price", "80"), "counter", "Ada to Kim")
    archives.make(desk, files, tmp_path / "shop.sqlite")
    return tmp_path / "shop.sqlite"


def tried_at(desk: Desk):  # type: ignore[no-untyped-def]
    with desk.reading() as connection:
        return house.when(connection, house.TRIED_AT)


def test_what_can_be_brought_back_is_said_so_and_remembered(desk: Desk, made: Path) -> None:
    before = everything(desk)
    tried = archive_trial.try_out(desk, made)

    assert (tried.tickets, tried.faults) == (1, ())
    assert tried.head.photos == 2
    assert tried_at(desk) == desk.clock.now()
    after = everything(desk)
    assert {name for name in before if before[name] != after[name]} == {"house"}


def test_it_leaves_nothing_behind(desk: Desk, made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "temporary"
    place.mkdir()
    monkeypatch.setattr("tempfile.tempdir", str(place))

    archive_trial.try_out(desk, made)

    assert list(place.iterdir()) == []


@pytest.mark.parametrize(
    ("damage", "says"),
    [
        ("UPDATE tickets SET stage = 'ready'", "its journal tells another state"),
        ("UPDATE proofs SET document = replace(document, '8000', '9000')", "proof 1 does not hold"),
        (
            "DELETE FROM photo_files WHERE size = (SELECT min(size) FROM photo_files); "
            "UPDATE archive SET photos = photos - 1",
            "a photo is missing",
        ),
    ],
)
def test_what_is_wrong_is_named_with_its_repair_and_not_remembered_as_tried(
    desk: Desk, made: Path, number: str, damage: str, says: str
) -> None:
    with sqlite3.connect(made) as plain:
        plain.executescript(damage)
    plain.close()

    tried = archive_trial.try_out(desk, made)

    assert len(tried.faults) == 1
    assert tried.faults[0].startswith(spoken(number))
    assert says in tried.faults[0]
    assert tried_at(desk) is None


def test_a_foreign_file_is_refused(desk: Desk, tmp_path: Path) -> None:
    (tmp_path / "letter").write_text("Dear shop")

    with pytest.raises(NotAnArchive):
        archive_trial.try_out(desk, tmp_path / "letter")


def test_an_encrypted_one_is_tried_with_its_key(desk: Desk, made: Path, tmp_path: Path) -> None:
    key, other = pyrage.x25519.Identity.generate(), pyrage.x25519.Identity.generate()
    sealed, file = tmp_path / "2026-03-02.sqlite.age", tmp_path / "key"
    pyrage.encrypt_file(str(made), str(sealed), [key.to_public()])
    file.write_text(f"# created: today\n{key}\n")

    assert archive_trial.try_out(desk, sealed, file).faults == ()
    with pytest.raises(NoEncryption, match="--identity"):
        archive_trial.try_out(desk, sealed)
    file.write_text(f"{other}\n")
    with pytest.raises(NoEncryption, match="cannot be decrypted"):
        archive_trial.try_out(desk, sealed, file)


def test_without_a_name_it_is_the_newest_of_the_nights(desk: Desk, files: PhotoFiles, tmp_path: Path) -> None:
    folder = tmp_path / "archives"
    with pytest.raises(NotAnArchive, match="no archive"):
        archive_trial.newest_of(folder)
    folder.mkdir()
    for day in ("2026-03-01", "2026-03-02", "2026-02-28"):
        (folder / f"{day}.sqlite").touch()

    assert archive_trial.newest_of(folder).name == "2026-03-02.sqlite"


def test_what_a_killed_trial_left_goes_after_a_day(
    clock: FixedClock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It holds every customer's name (Art. 5(1)(e) GDPR)."""
    monkeypatch.setattr(archive_trial.tempfile, "tempdir", str(tmp_path))
    for name, days in (("benchwindow-trial-killed", 2), ("benchwindow-trial-running", 0), ("somebody-elses", 9)):
        place = tmp_path / name
        place.mkdir()
        (place / "trial.db").write_bytes(b"Ada Marsh")
        written = (clock.now() - timedelta(days=days)).timestamp()
        os.utime(place, (written, written))

    assert archive_trial.forget_killed(clock.now()) == 1

    assert sorted(each.name for each in tmp_path.iterdir()) == ["benchwindow-trial-running", "somebody-elses"]


def test_a_repair_whose_data_was_erased_is_no_fault(desk: Desk, files: PhotoFiles, number: str, tmp_path: Path) -> None:
    return_unrepaired(desk, BENCH, number, "Beyond repair.")
    erasure.erase(desk, files, BENCH, number, "Asked for by mail.")
    archives.make(desk, files, tmp_path / "shop.sqlite")

    assert archive_trial.try_out(desk, tmp_path / "shop.sqlite").faults == ()

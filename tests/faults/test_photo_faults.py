"""A disk that is full, and a process killed at each step of taking a photo in: a photo is whole or it is not there."""

from __future__ import annotations

import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from portal.actions import photos as deeds
from portal.actions.desk import Desk, find
from portal.store import journal
from portal.store.photo_files import SIZES, PhotoFiles
from tests.actions.photo_shelf import kept
from tests.conftest import BENCH
from tests.pictures.samples import as_bytes

NO_ROOM = 3


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """The folder of photos."""
    return tmp_path / "photos"


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A picture whose large size takes about a megabyte and whose small one takes about a twentieth of that."""
    noise = np.random.default_rng(3).integers(0, 255, (1200, 1600, 3), dtype=np.uint8)
    file = tmp_path / "photo.jpg"
    file.write_bytes(as_bytes(Image.fromarray(noise)))
    return file


def photographer(desk: Desk, folder: Path, number: str, how: str, photo: Path) -> subprocess.CompletedProcess[str]:
    url = desk.engine.url.render_as_string(hide_password=False).replace("+psycopg", "")
    command = [sys.executable, "-m", "tests.faults.photographer", url, str(folder), number, how, str(photo)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def told_events(desk: Desk, number: str) -> list[str]:
    with desk.reading() as connection:
        return [entry.event for entry in journal.entries(connection, find(connection, number).id)]


def files_in(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*") if path.is_file()]


@pytest.mark.parametrize("most", [0, 20_000, 300_000], ids=["at once", "in the first file", "in a large file"])
def test_a_full_disk_is_told_in_words_and_nothing_is_half_kept(
    desk: Desk, number: str, folder: Path, photo: Path, most: int
) -> None:
    done = photographer(desk, folder, number, f"full:{most}", photo)

    assert (done.returncode, done.stderr) == (NO_ROOM, "")
    assert done.stdout.startswith("There is no room for the photo.")
    assert kept(desk, number) == []
    assert files_in(folder) == []
    assert told_events(desk, number) == ["arrived"]


def test_with_room_enough_the_same_photo_is_kept(desk: Desk, number: str, folder: Path, photo: Path) -> None:
    assert photographer(desk, folder, number, "full:50000000", photo).returncode == 0

    assert len(kept(desk, number)) == 1
    assert len(files_in(folder)) == 2


@pytest.mark.parametrize(
    ("step", "left"),
    [
        ("before any file", 0),
        ("between the files", 1),
        ("inside a file", 2),
        ("before the row", 2),
        ("before the commit", 2),
    ],
)
def test_a_killed_upload_leaves_no_row_and_what_lies_about_is_swept_up_after_a_day(
    desk: Desk, number: str, folder: Path, photo: Path, step: str, left: int
) -> None:
    deeds.add(desk, PhotoFiles(str(folder)), BENCH, number, photo.read_bytes(), confirmed=True)
    (taken,) = kept(desk, number)

    done = photographer(desk, folder, number, step, photo)

    assert done.returncode == -signal.SIGKILL
    assert kept(desk, number) == [taken]
    assert len(files_in(folder)) == 2 + left
    files, now = PhotoFiles(str(folder)), datetime.now(UTC)
    deeds.sweep_up(desk, files, now + timedelta(hours=23))
    assert len(files_in(folder)) == 2 + left
    deeds.sweep_up(desk, files, now + timedelta(hours=25))
    assert len(files_in(folder)) == 2
    assert all(files.read(taken.ref, size) for size in SIZES)


def test_after_a_killed_upload_the_same_photo_can_be_sent_again(
    desk: Desk, number: str, folder: Path, photo: Path
) -> None:
    photographer(desk, folder, number, "before the commit", photo)

    assert photographer(desk, folder, number, "none", photo).returncode == 0
    assert len(kept(desk, number)) == 1

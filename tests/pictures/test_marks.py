"""Whatever a file says about its owner, and wherever: nothing of it is kept. Looked at from outside, by bytes."""

from __future__ import annotations

import io
import subprocess
from pathlib import Path

import pytest

from portal.actions.desk import Desk
from portal.pictures.clean import clean
from portal.rules.numbers import spoken
from tests.pictures import marked
from tests.pictures.marked import WORD, marks_in
from tests.web.browser import Browser, hidden_fields

FORMS = [*marked.EASY, "HEIC"]
PLANTED_AT_LEAST = 10
BARE = {"ExifTool", "File", "JFIF", "Composite"}  # the groups in which exiftool tells what any JPEG has


@pytest.fixture(params=FORMS)
def sent(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A picture that tells on its owner, in each format."""
    if request.param == "HEIC":
        return marked.heic(tmp_path_factory.mktemp("heic"), request.getfixturevalue("heif_enc"))
    return marked.EASY[request.param]()


def told(exiftool: str, data: bytes, folder: Path) -> str:
    file = folder / "picture"
    file.write_bytes(data)
    return subprocess.run([exiftool, "-G", "-s", str(file)], capture_output=True, text=True, check=True).stdout


def test_what_was_sent_is_full_of_marks_that_others_can_read(sent: bytes, exiftool: str, tmp_path: Path) -> None:
    assert marks_in(sent) >= PLANTED_AT_LEAST
    assert told(exiftool, sent, tmp_path).count(WORD) >= 7


def test_no_mark_is_in_what_comes_out(sent: bytes) -> None:
    cleaned = clean(sent)

    assert marks_in(cleaned.large) == marks_in(cleaned.small) == 0


def test_exiftool_finds_the_bare_file_only(sent: bytes, exiftool: str, tmp_path: Path) -> None:
    cleaned = clean(sent)

    for data in (cleaned.large, cleaned.small):
        groups = {line.split("]")[0].strip("[ ") for line in told(exiftool, data, tmp_path).splitlines()}
        assert groups == BARE


def test_no_byte_under_the_data_folder_holds_a_mark_not_even_the_files_name(
    sent: bytes, staff_client: Browser, desk: Desk, number: str, tmp_path: Path
) -> None:
    at = f"/bench/{spoken(number)}/photos"
    fields = hidden_fields(staff_client.get(at).text, at) | {"audience": "customer", "use_anyway": "1"}
    named = (io.BytesIO(sent), f"{WORD}.jpg")

    answer = staff_client.post(at, data=fields | {"photo": [named]}, content_type="multipart/form-data")

    assert answer.status_code == 303
    kept = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert sum(path.suffix == ".jpg" for path in kept) == 2
    assert any(path.name.startswith("benchwindow.db") for path in kept)
    assert [path for path in kept if marks_in(path.read_bytes())] == []
    assert not any(WORD in path.name for path in kept)

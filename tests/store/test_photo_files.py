"""The photo store keeps its promises in a folder and on a server that speaks S3."""

from __future__ import annotations

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from portal.store.photo_files import LARGE, SIZES, SMALL, NoPhotoStore, PhotoFiles, StoreSilent


@pytest.fixture(params=["folder", "s3"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of an empty store of one kind, and then of the other."""
    return str(tmp_path / "photos") if request.param == "folder" else request.getfixturevalue("s3_url")


@pytest.fixture
def files(url: str) -> PhotoFiles:
    return PhotoFiles(url)


def test_what_was_written_is_read_back_in_each_size(files: PhotoFiles) -> None:
    files.write("ABC", LARGE, b"large")
    files.write("ABC", SMALL, b"small")

    assert [files.read("ABC", size) for size in (LARGE, SMALL)] == [b"large", b"small"]


def test_what_is_not_there_is_none(files: PhotoFiles) -> None:
    assert files.read("ABC", LARGE) is None


def test_a_photo_is_removed_in_every_size_and_removing_it_again_is_no_fault(files: PhotoFiles) -> None:
    for size in SIZES:
        files.write("ABC", size, b"picture")

    files.remove("ABC")
    files.remove("ABC")

    assert [files.read("ABC", size) for size in SIZES] == [None, None]
    assert list(files.all()) == []


def test_all_files_are_told_with_their_photo_and_their_age(files: PhotoFiles, url: str) -> None:
    files.write("ABC", LARGE, b"picture")
    files._files.pipe_file(f"{files._root}/notes.txt", b"none of ours")

    found = {ref: (path, written) for ref, path, written in files.all()}

    assert set(found) == {"ABC", ""}
    assert found["ABC"][0].endswith("/AB/ABC-large.jpg")
    assert all(abs(written - datetime.now(UTC)) < timedelta(minutes=5) for _path, written in found.values())


def test_what_another_process_wrote_or_removed_is_seen_at_once(url: str) -> None:
    ours, theirs = PhotoFiles(url), PhotoFiles(url)
    assert list(ours.all()) == []

    theirs.write("ABC", LARGE, b"picture")
    assert [ref for ref, _path, _written in ours.all()] == ["ABC"]
    theirs.remove("ABC")

    assert ours.read("ABC", LARGE) is None
    assert list(ours.all()) == []


def test_an_empty_store_is_found_in_order_and_stays_empty(files: PhotoFiles) -> None:
    files.check()
    files.prove()

    assert list(files.all()) == []


def test_a_bucket_that_is_not_there_is_found_out(s3_url: str) -> None:
    elsewhere = PhotoFiles("s3://no-such-bucket/photos")

    for deed in (elsewhere.check, elsewhere.prove, lambda: elsewhere.write("ABC", LARGE, b"picture")):
        with pytest.raises(OSError, match=r"Not Found|does not exist"):
            deed()


def test_a_server_that_is_away_is_an_oserror_without_its_address(s3_url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:9")  # nobody listens there
    away = PhotoFiles("s3://another-bucket/photos")

    for deed in (away.check, away.prove, lambda: away.write("ABC", LARGE, b"x"), lambda: away.read("ABC", LARGE)):
        with pytest.raises(StoreSilent) as found:
            deed()
        assert "127.0.0.1" not in str(found.value)


def test_a_missing_package_is_named_by_the_extra_that_brings_it() -> None:
    program = (
        "import sys; sys.modules['s3fs'] = None\n"
        "from portal.store.photo_files import NoPhotoStore, PhotoFiles\n"
        "try: PhotoFiles('s3://bucket/photos')\n"
        "except NoPhotoStore as missing: print(missing)"
    )

    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout

    assert said == "Photos cannot be kept at an address of the kind “s3”: install benchwindow[s3].\n"


def test_an_address_of_an_unknown_kind_is_told_so() -> None:
    with pytest.raises(NoPhotoStore, match="kind “nowhere”"):
        PhotoFiles("nowhere://bucket")

"""The whole way of a photo where photos lie on a server that speaks S3."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from notifications.instants import FixedClock
from portal import doctor
from portal.actions import photos as deeds
from portal.main import Installation, open_installation
from portal.pictures import worker
from portal.rules.numbers import spoken
from tests.actions.photo_shelf import kept
from tests.conftest import BASE_URL, BENCH, SECRET, load_default_policy
from tests.pictures.samples import as_bytes, four_corners, opened
from tests.web.browser import Browser, hidden_fields

SETTINGS = {"BENCHWINDOW_BASE_URL": BASE_URL, "BENCHWINDOW_SECRET_KEY": SECRET.hex()}


@pytest.fixture(autouse=True)
def _no_child_is_left() -> Iterator[None]:
    yield
    worker.dismiss()


@pytest.fixture
def installation(s3_url: str, clock: FixedClock, chooser: Random, tmp_path: Path) -> Iterator[Installation]:
    """An installation that keeps its photos on the server."""
    environment = SETTINGS | {"BENCHWINDOW_PHOTOS_URL": s3_url}
    made = open_installation(tmp_path, clock=clock, chooser=chooser, environment=environment)
    load_default_policy(made.desk)
    yield made
    made.engine.dispose()


def send(browser: Browser, number: str):
    at = f"/bench/{spoken(number)}/photos"
    fields = hidden_fields(browser.get(at).text, at) | {"use_anyway": "1", "audience": "bench"}
    sent = [(io.BytesIO(as_bytes(four_corners())), "IMG.jpg")]
    return browser.post(at, data=fields | {"photo": sent}, content_type="multipart/form-data")


def names(house: Installation) -> list[str]:
    return sorted(path.rpartition("/")[2] for _ref, path, _written in house.photo_files.all())


def test_a_photo_is_taken_served_and_withdrawn(
    staff_client: Browser, installation: Installation, number: str, tmp_path: Path
) -> None:
    assert send(staff_client, number).status_code == 303
    (photo,) = kept(installation.desk, number)
    assert names(installation) == [f"{photo.ref}-large.jpg", f"{photo.ref}-small.jpg"]
    at = f"/bench/{spoken(number)}/photos"

    shown = staff_client.get(f"{at}/{photo.ref}-large.jpg")
    assert (shown.status_code, shown.mimetype) == (200, "image/jpeg")
    assert opened(shown.data).size == (800, 600)

    fields = hidden_fields(staff_client.get(at).text, f"{at}/{photo.ref}/withdraw")
    assert staff_client.post(f"{at}/{photo.ref}/withdraw", data=fields).status_code == 303
    assert names(installation) == []
    assert not list(tmp_path.rglob("*.jpg"))


def test_a_file_without_a_row_is_swept_up_after_a_day_and_a_photo_stays(
    installation: Installation, number: str
) -> None:
    desk, files = installation.desk, installation.photo_files
    deeds.add(desk, files, BENCH, number, as_bytes(four_corners()), confirmed=True)
    (photo,) = kept(desk, number)
    files.write("LOST", "large", b"left by a killed upload")

    deeds.sweep_up(desk, files, datetime.now(UTC) + timedelta(hours=23))
    assert len(names(installation)) == 3
    deeds.sweep_up(desk, files, datetime.now(UTC) + timedelta(hours=25))

    assert names(installation) == [f"{photo.ref}-large.jpg", f"{photo.ref}-small.jpg"]


def test_a_server_that_goes_away_is_told_in_words_and_nothing_is_half_kept(
    staff_client: Browser, installation: Installation, number: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    send(staff_client, number)
    (photo,) = kept(installation.desk, number)
    monkeypatch.setattr(installation.photo_files, "_files", away(monkeypatch, installation))

    answer = send(staff_client, number)
    shown = staff_client.get(f"/bench/{spoken(number)}/photos/{photo.ref}-small.jpg")

    assert answer.status_code == 503
    assert "does not answer. Nothing was kept" in answer.text
    assert shown.status_code == 503
    assert staff_client.get("/health").json["storage"] == "cannot be written"
    assert kept(installation.desk, number) == [photo]


def test_doctor_writes_reads_and_takes_away_something_small(
    installation: Installation, s3_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in (SETTINGS | {"BENCHWINDOW_PHOTOS_URL": s3_url}).items():
        monkeypatch.setenv(name, value)

    assert "ok    photos: can be kept" in [str(finding) for finding in doctor.look_over(tmp_path)]
    assert names(installation) == []


def test_doctor_says_what_to_mend_where_the_bucket_is_not_there(
    installation: Installation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, value in (SETTINGS | {"BENCHWINDOW_PHOTOS_URL": "s3://no-such-bucket/photos"}).items():
        monkeypatch.setenv(name, value)

    (found,) = [finding for finding in doctor.look_over(tmp_path) if finding.what == "photos"]

    assert found.must_be_mended
    assert "BENCHWINDOW_PHOTOS_URL" in found.says


def away(monkeypatch: pytest.MonkeyPatch, installation: Installation) -> object:
    """The way to a server that nobody answers at."""
    monkeypatch.setenv("AWS_ENDPOINT_URL", "http://127.0.0.1:9")
    return type(installation.photo_files)("s3://away/photos")._files

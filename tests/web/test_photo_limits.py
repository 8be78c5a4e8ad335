"""Too many photos, and no room for one: said kindly, and nothing is half kept."""

from __future__ import annotations

import errno
import io
from collections.abc import Iterator
from pathlib import Path

import pytest

from portal.actions.desk import Desk
from portal.pictures import worker
from portal.rules.numbers import spoken
from portal.store.photo_files import PhotoFiles
from tests.actions.photo_shelf import kept
from tests.pictures.samples import as_bytes, four_corners
from tests.web.browser import Browser, hidden_fields


@pytest.fixture(autouse=True)
def _no_child_is_left() -> Iterator[None]:
    yield
    worker.dismiss()


def send(browser: Browser, number: str, files: list[bytes]):
    at = f"/bench/{spoken(number)}/photos"
    fields = hidden_fields(browser.get(at).text, at) | {"use_anyway": "1", "caption": "The back", "audience": "bench"}
    sent = [(io.BytesIO(data), f"IMG_{place}.jpg") for place, data in enumerate(files)]
    return browser.post(at, data=fields | {"photo": sent}, content_type="multipart/form-data")


def test_more_photos_than_fit_at_once_are_told_so_before_any_is_kept(
    staff_client: Browser, desk: Desk, number: str
) -> None:
    answer = send(staff_client, number, [as_bytes(four_corners())] * 9)

    assert answer.status_code == 422
    assert "At most 8 photos fit at once. None was kept" in answer.text
    assert 'value="The back"' in answer.text
    assert kept(desk, number) == []


# Werkzeug leaves the parts it had read before it refused to the garbage collector.
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_thousands_of_files_in_one_form_are_refused_kindly(staff_client: Browser, desk: Desk, number: str) -> None:
    part = b'--edge\r\nContent-Disposition: form-data; name="photo"; filename="a.jpg"\r\n\r\nx\r\n'
    at = f"/bench/{spoken(number)}/photos"

    answer = staff_client.post(
        at, data=part * 5_000 + b"--edge--\r\n", content_type="multipart/form-data; boundary=edge"
    )

    assert answer.status_code == 413
    assert "fewer or smaller files" in answer.text
    assert kept(desk, number) == []


def test_no_room_for_a_photo_has_a_status_of_its_own(
    staff_client: Browser, desk: Desk, number: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: PhotoFiles, ref: str, size: str, content: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(PhotoFiles, "write", full)

    answer = send(staff_client, number, [as_bytes(four_corners())])

    assert answer.status_code == 507  # RFC 4918 section 11.5
    assert "There is no room for the photo." in answer.text
    assert "IMG_0.jpg" in answer.text
    assert kept(desk, number) == []

"""Photos on the site: several at once, each on its own; seen by whoever may, and by nobody else."""

from __future__ import annotations

import io
from collections.abc import Iterator

import pytest
from werkzeug.test import TestResponse

from portal.actions.desk import Desk
from portal.actions.intake import NewVisit, TakenIn, take_in
from portal.pictures import worker
from portal.rules.numbers import spoken
from tests.actions.photo_shelf import kept
from tests.conftest import BENCH
from tests.pictures.samples import sharp
from tests.web.browser import Browser, hidden_fields


@pytest.fixture(autouse=True)
def _no_child_is_left() -> Iterator[None]:
    yield
    worker.dismiss()


@pytest.fixture(scope="module")
def picture() -> bytes:
    """A sharp, bright picture."""
    return sharp()


def upload(browser: Browser, number: str, *files: bytes, **typed: str) -> TestResponse:
    at = f"/bench/{spoken(number)}/photos"
    fields = hidden_fields(browser.get(at).text, at)
    sent = [(io.BytesIO(data), f"IMG_{place}.heic") for place, data in enumerate(files)]
    return browser.post(at, data=fields | typed | {"photo": sent}, content_type="multipart/form-data")


def token(taken_in: TakenIn) -> str:
    return taken_in.link.rpartition("/")[2]


def test_several_photos_are_taken_in_order(staff_client: Browser, desk: Desk, number: str, picture: bytes) -> None:
    answer = upload(staff_client, number, picture, picture, moment="before", audience="customer")

    assert answer.status_code == 303
    assert [photo.moment for photo in kept(desk, number)] == ["before", "before"]


def test_one_that_is_refused_does_not_hold_the_others_up(
    staff_client: Browser, desk: Desk, number: str, picture: bytes
) -> None:
    answer = upload(staff_client, number, picture, b"no picture", caption="The back", audience="bench")

    assert answer.status_code == 422
    assert "IMG_1.heic" in answer.text
    assert "This is not a picture the shop can read." in answer.text
    assert 'value="The back"' in answer.text
    assert len(kept(desk, number)) == 1


def test_a_form_without_a_photo_is_told_so(staff_client: Browser, number: str) -> None:
    assert "No photo was chosen" in upload(staff_client, number).text


def test_the_customer_sees_what_is_for_them(
    staff_client: Browser, client: Browser, desk: Desk, taken_in: TakenIn, picture: bytes
) -> None:
    (number,) = taken_in.numbers
    upload(staff_client, number, picture, moment="before", audience="customer", caption="As it came")
    upload(staff_client, number, picture, moment="after", audience="bench")
    shown, hidden = kept(desk, number)

    page = client.get(f"/t/{token(taken_in)}/photos").text

    assert "As it came" in page
    assert hidden.ref not in page
    answer = client.get(f"/t/{token(taken_in)}/photos/{shown.ref}-small.jpg")
    assert (answer.status_code, answer.mimetype) == (200, "image/jpeg")
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert answer.headers["Cache-Control"].startswith("private")
    assert client.get(f"/t/{token(taken_in)}/photos/{hidden.ref}-small.jpg").status_code == 404


def test_another_customers_link_opens_no_photo(
    staff_client: Browser, client: Browser, desk: Desk, taken_in: TakenIn, arrival: NewVisit, picture: bytes
) -> None:
    other = take_in(desk, BENCH, arrival)
    upload(staff_client, taken_in.numbers[0], picture, audience="customer")
    (photo,) = kept(desk, taken_in.numbers[0])

    assert client.get(f"/t/{token(other)}/photos/{photo.ref}-large.jpg").status_code == 404


@pytest.mark.parametrize("size", ["huge", "large.jpg/../../secret"])
def test_there_is_no_photo_of_another_size(
    staff_client: Browser, desk: Desk, number: str, picture: bytes, size: str
) -> None:
    upload(staff_client, number, picture, audience="bench")
    (photo,) = kept(desk, number)

    assert staff_client.get(f"/bench/{spoken(number)}/photos/{photo.ref}-{size}.jpg").status_code == 404


def test_a_browser_that_has_the_photo_is_not_sent_it_again(
    staff_client: Browser, desk: Desk, number: str, picture: bytes
) -> None:
    upload(staff_client, number, picture, audience="bench")
    at = f"/bench/{spoken(number)}/photos/{kept(desk, number)[0].ref}-small.jpg"

    again = staff_client.get(at, headers={"If-None-Match": staff_client.get(at).headers["ETag"]})

    assert (again.status_code, again.data) == (304, b"")


def test_a_withdrawn_photo_is_gone_at_once(
    staff_client: Browser, client: Browser, desk: Desk, taken_in: TakenIn, picture: bytes
) -> None:
    (number,) = taken_in.numbers
    upload(staff_client, number, picture, audience="customer")
    (photo,) = kept(desk, number)
    at = f"/bench/{spoken(number)}/photos"

    answer = staff_client.post(
        f"{at}/{photo.ref}/withdraw", data=hidden_fields(staff_client.get(at).text, f"{at}/{photo.ref}/withdraw")
    )

    assert answer.status_code == 303
    assert client.get(f"/t/{token(taken_in)}/photos/{photo.ref}-small.jpg").status_code == 404
    assert kept(desk, number) == []


def test_a_photo_of_the_tray_is_shown_beside_its_lines(
    staff_client: Browser, desk: Desk, number: str, picture: bytes
) -> None:
    upload(staff_client, number, picture, moment="tray", audience="bench")
    (photo,) = kept(desk, number)

    assert f"{photo.ref}-small.jpg" in staff_client.get(f"/bench/{spoken(number)}/tray").text

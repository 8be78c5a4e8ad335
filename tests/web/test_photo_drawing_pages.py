"""One photo's pages without scripts: its words are put right, parts are hidden, something is pointed out."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image
from werkzeug.test import TestResponse

from portal.actions import conversation
from portal.actions import photo_pairs as pair_deeds
from portal.actions import photos as photo_deeds
from portal.actions.desk import find
from portal.actions.intake import NewVisit, TakenIn, take_in
from portal.main import Installation
from portal.pictures import worker
from portal.pictures.limits import Clean
from portal.rules.conversation import Writer
from portal.rules.numbers import spoken
from portal.store import photo_pairs
from portal.store.photo_files import SIZES
from portal.store.photos import Photo
from tests.actions.photo_shelf import as_clean, kept, names
from tests.conftest import BENCH
from tests.pictures.samples import opened
from tests.pictures.scenes import movement, scene, seen
from tests.web.browser import Browser, hidden_fields

NUMBERS = {"left-0": "20", "top-0": "30", "width-0": "25,5", "height-0": "20 %"}


@pytest.fixture(scope="module")
def picture() -> Clean:
    """A picture without plain areas."""
    noise = np.random.default_rng(3).integers(60, 255, (300, 400, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).save(out, "JPEG")
    return Clean(out.getvalue(), out.getvalue(), 400, 300, False, False)


@pytest.fixture
def photo(installation: Installation, number: str, picture: Clean) -> Photo:
    """A photo of the bench's."""
    photo_deeds.keep(
        installation.desk, installation.photo_files, BENCH, number, picture, moment="before", audience="bench"
    )
    return kept(installation.desk, number)[0]


def at(number: str, ref: str, page: str = "") -> str:
    return f"/bench/{spoken(number)}/photos/{ref}{page}"


def send(browser: Browser, path: str, **typed: str) -> TestResponse:
    """Open the page, and send its form as typed."""
    return browser.post(path, data=hidden_fields(browser.get(path).text, path) | typed)


def token(taken_in: TakenIn) -> str:
    return taken_in.link.rpartition("/")[2]


def test_what_is_said_of_it_is_put_right(
    staff_client: Browser, installation: Installation, number: str, photo: Photo
) -> None:
    answer = send(
        staff_client, at(number, photo.ref), moment="other", caption="The back", stage="cleaning", audience="customer"
    )

    assert (answer.status_code, answer.location) == (303, f"/bench/{spoken(number)}/photos?done=said")
    (now,) = kept(installation.desk, number)
    assert (now.moment, now.caption, now.stage, now.audience) == ("other", "The back", "cleaning", "customer")
    assert "What is said of the photo is kept." in staff_client.get(answer.location).text


def test_refused_it_comes_back_as_it_was_typed(staff_client: Browser, number: str, photo: Photo) -> None:
    answer = send(
        staff_client, at(number, photo.ref), moment="after", caption="x" * 121, stage="testing", audience="bench"
    )

    assert answer.status_code == 422
    assert "x" * 121 in answer.text
    assert 'value="after" checked' in answer.text
    assert 'value="testing" selected' in answer.text


def test_parts_are_hidden_by_numbers_alone(
    staff_client: Browser, client: Browser, installation: Installation, taken_in: TakenIn, photo: Photo
) -> None:
    (number,) = taken_in.numbers

    answer = send(staff_client, at(number, photo.ref, "/hide"), release="1", **NUMBERS)

    assert answer.status_code == 303
    (now,) = kept(installation.desk, number)
    assert now.ref != photo.ref
    page = client.get(f"/t/{token(taken_in)}/photos").text
    assert f"{now.ref}-small.jpg" in page
    assert photo.ref not in page
    for size in SIZES:
        shown = client.get(f"/t/{token(taken_in)}/photos/{now.ref}-{size}.jpg")
        inside = np.asarray(opened(shown.data).crop((100, 100, 160, 140) if size == "large" else (80, 80, 128, 112)))
        assert len(np.unique(inside.reshape(-1, 3), axis=0)) == 1
        for browser, path in ((client, f"/t/{token(taken_in)}"), (staff_client, f"/bench/{spoken(number)}")):
            assert browser.get(f"{path}/photos/{photo.ref}-{size}.jpg").status_code == 404
    assert names(installation.photo_files) == {now.ref}
    assert "with hidden parts" in staff_client.get(answer.location).text


def test_whoever_has_the_old_picture_is_not_told_that_it_is_still_right(
    staff_client: Browser, client: Browser, installation: Installation, taken_in: TakenIn, picture: Clean
) -> None:
    (number,) = taken_in.numbers
    photo_deeds.keep(installation.desk, installation.photo_files, BENCH, number, picture)
    (old,) = kept(installation.desk, number)
    path = f"/t/{token(taken_in)}/photos/{old.ref}-large.jpg"
    mark = client.get(path).headers["ETag"]

    send(staff_client, at(number, old.ref, "/hide"), **NUMBERS)

    assert client.get(path, headers={"If-None-Match": mark}).status_code == 404
    (now,) = kept(installation.desk, number)
    again = client.get(path.replace(old.ref, now.ref), headers={"If-None-Match": mark})
    assert (again.status_code, again.headers["ETag"] == mark) == (200, False)


@pytest.mark.parametrize("page", ["/hide", "/point-out"])
@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({}, "No rectangle was drawn."),
        ({"left-0": "20"}, "Rectangle 1 wants four numbers"),
        ({**NUMBERS, "left-3": "200", "top-3": "1"}, "Rectangle 4 wants four numbers"),
        ({**NUMBERS, "width-0": "0"}, "Rectangle 1 is too thin."),
        ({**NUMBERS, "top-0": "<b>"}, "Rectangle 1 wants four numbers"),
    ],
)
def test_numbers_that_do_not_fit_are_kept_and_nothing_is_drawn(
    staff_client: Browser,
    installation: Installation,
    number: str,
    photo: Photo,
    page: str,
    typed: dict[str, str],
    words: str,
) -> None:
    answer = send(staff_client, at(number, photo.ref, page), **typed)

    assert answer.status_code == 422
    assert words in answer.text
    for value in typed.values():
        assert f'value="{value.replace("<", "&lt;").replace(">", "&gt;")}"' in answer.text
    assert kept(installation.desk, number) == [photo]
    assert names(installation.photo_files) == {photo.ref}


def test_a_copy_points_out_and_is_withdrawn_with_its_photo(
    staff_client: Browser, installation: Installation, number: str, photo: Photo
) -> None:
    answer = send(
        staff_client, at(number, photo.ref, "/point-out"), drawn="arrow", caption="Here", audience="customer", **NUMBERS
    )
    assert answer.status_code == 303
    first, copy = kept(installation.desk, number)
    assert first == photo
    assert (copy.caption, copy.audience) == ("Here", "customer")
    page = at(number, photo.ref)
    assert "the copy that points something out" in staff_client.get(page).text

    staff_client.post(f"{page}/withdraw", data=hidden_fields(staff_client.get(page).text, f"{page}/withdraw"))

    assert kept(installation.desk, number) == []
    assert names(installation.photo_files) == set()


def test_what_the_customer_sent_is_still_shown_beside_their_words(
    staff_client: Browser, client: Browser, installation: Installation, taken_in: TakenIn, picture: Clean
) -> None:
    (number,), files = taken_in.numbers, installation.photo_files
    conversation.write(installation.desk, files, number, Writer.OWNER, "Look", photo=picture.large, confirmed=True)
    worker.dismiss()
    (old,) = kept(installation.desk, number)

    send(staff_client, at(number, old.ref, "/hide"), **NUMBERS)

    (now,) = kept(installation.desk, number)
    for browser, page in (
        (staff_client, f"/bench/{spoken(number)}/conversation"),
        (client, f"/t/{token(taken_in)}/write/{spoken(number)}"),
    ):
        text = browser.get(page).text
        assert now.ref in text
        assert old.ref not in text


def test_the_pair_it_is_in_is_shown_without_the_hidden_part(
    staff_client: Browser, client: Browser, installation: Installation, taken_in: TakenIn
) -> None:
    (number,), desk, files = taken_in.numbers, installation.desk, installation.photo_files
    for data, moment in ((scene(1), "before"), (seen(scene(1), movement(5, 1.05)), "after")):
        photo_deeds.keep(desk, files, BENCH, number, as_clean(data), moment=moment)
    pair_deeds.make(desk, files, BENCH, number, *(each.ref for each in kept(installation.desk, number)))
    with desk.reading() as connection:
        (old,) = photo_pairs.of_ticket(connection, find(connection, number).id)

    assert send(staff_client, at(number, old.after, "/hide"), **NUMBERS).status_code == 303

    with desk.reading() as connection:
        (now,) = photo_pairs.of_ticket(connection, find(connection, number).id)
    page = client.get(f"/t/{token(taken_in)}/photos").text
    assert f"{now.shown_after}-small.jpg" in page
    for gone in (old.after, old.aligned_ref):
        assert str(gone) not in page
        assert client.get(f"/t/{token(taken_in)}/photos/{gone}-large.jpg").status_code == 404


@pytest.mark.parametrize("page", ["", "/hide", "/point-out"])
def test_another_repairs_photo_has_no_page_here(
    staff_client: Browser, installation: Installation, arrival: NewVisit, photo: Photo, page: str
) -> None:
    other = take_in(installation.desk, BENCH, arrival).numbers[0]

    assert staff_client.get(at(other, photo.ref, page)).status_code == 404
    assert staff_client.get(at(other, "NONE", page)).status_code == 404

"""Pairs on the site: made and taken apart by plain forms, seen by whoever may see both photos."""

from __future__ import annotations

import io

import pytest
from PIL import Image
from werkzeug.test import TestResponse

from portal.actions import photos as photo_deeds
from portal.actions.desk import Desk, find
from portal.actions.intake import NewVisit, TakenIn, take_in
from portal.main import Installation
from portal.pictures.limits import Clean
from portal.rules.numbers import spoken
from portal.store import photo_pairs, photos
from portal.store.photo_pairs import Pair
from tests.conftest import BENCH
from tests.pictures.scenes import movement, scene, seen
from tests.web.browser import Browser, hidden_fields


def as_clean(picture) -> Clean:
    """A picture as it is kept, without the way there."""
    out = io.BytesIO()
    Image.fromarray(picture).resize((800, 600)).save(out, "JPEG", quality=85)
    return Clean(out.getvalue(), out.getvalue(), 800, 600, False, False)


@pytest.fixture(scope="module")
def pictures() -> tuple[Clean, Clean]:
    """A before and an after that can be laid over one another."""
    return as_clean(scene(1)), as_clean(seen(scene(1), movement(5, 1.05)))


@pytest.fixture
def refs(installation: Installation, number: str, pictures: tuple[Clean, Clean]) -> list[str]:
    """The photos of the two in the shop, both for the customer."""
    for picture, moment in zip(pictures, ("before", "after"), strict=True):
        photo_deeds.keep(installation.desk, installation.photo_files, BENCH, number, picture, moment=moment)
    with installation.desk.reading() as connection:
        return [photo.ref for photo in photos.of_ticket(connection, find(connection, number).id)]


def pairs(desk: Desk, number: str) -> list[Pair]:
    with desk.reading() as connection:
        return photo_pairs.of_ticket(connection, find(connection, number).id)


def send(browser: Browser, number: str, path: str, **typed: str) -> TestResponse:
    page = f"/bench/{spoken(number)}/photos"
    action = f"/bench/{spoken(number)}/photo-pairs{path}"
    return browser.post(action, data=hidden_fields(browser.get(page).text, action) | typed)


def made(browser: Browser, desk: Desk, number: str, refs: list[str]) -> Pair:
    assert send(browser, number, "", before=refs[0], after=refs[1]).status_code == 303
    (pair,) = pairs(desk, number)
    return pair


def token(taken_in: TakenIn) -> str:
    return taken_in.link.rpartition("/")[2]


def test_there_is_nothing_to_pair_while_one_of_the_two_is_missing(staff_client: Browser, number: str) -> None:
    assert "photo-pairs" not in staff_client.get(f"/bench/{spoken(number)}/photos").text


def test_a_pair_is_made_and_shown_on_both_sides(
    staff_client: Browser, client: Browser, desk: Desk, taken_in: TakenIn, refs: list[str]
) -> None:
    (number,) = taken_in.numbers
    pair = made(staff_client, desk, number, refs)

    assert pair.aligned_ref
    assert f"{pair.aligned_ref}-small.jpg" in staff_client.get(f"/bench/{spoken(number)}/photos").text
    page = client.get(f"/t/{token(taken_in)}/photos").text
    assert f"{pair.before}-small.jpg" in page
    assert f"{pair.aligned_ref}-small.jpg" in page
    assert f"{pair.after}-small.jpg" not in page
    for browser, at in ((staff_client, f"/bench/{spoken(number)}"), (client, f"/t/{token(taken_in)}")):
        answer = browser.get(f"{at}/photos/{pair.aligned_ref}-large.jpg")
        assert (answer.status_code, answer.mimetype) == (200, "image/jpeg")


def test_a_pair_can_be_shown_as_it_was_taken(
    staff_client: Browser, client: Browser, desk: Desk, taken_in: TakenIn, refs: list[str]
) -> None:
    (number,) = taken_in.numbers
    pair = made(staff_client, desk, number, refs)

    assert send(staff_client, number, f"/{pair.ref}/shown").status_code == 303
    assert f"{pair.after}-small.jpg" in client.get(f"/t/{token(taken_in)}/photos").text

    assert send(staff_client, number, f"/{pair.ref}/shown").status_code == 303
    assert pairs(desk, number) == [pair]


def test_a_pair_is_taken_apart(staff_client: Browser, desk: Desk, number: str, refs: list[str]) -> None:
    pair = made(staff_client, desk, number, refs)

    assert send(staff_client, number, f"/{pair.ref}/apart").status_code == 303

    assert pairs(desk, number) == []
    gone = staff_client.get(f"/bench/{spoken(number)}/photos/{pair.aligned_ref}-small.jpg")
    assert gone.status_code == 404


def test_a_pair_that_somebody_made_meanwhile_is_told(
    staff_client: Browser, desk: Desk, number: str, refs: list[str]
) -> None:
    action = f"/bench/{spoken(number)}/photo-pairs"
    fields = hidden_fields(staff_client.get(f"/bench/{spoken(number)}/photos").text, action)
    made(staff_client, desk, number, refs)

    answer = staff_client.post(action, data=fields | {"before": refs[0], "after": refs[1]})

    assert answer.status_code == 422
    assert "One of these photos is in a pair already." in answer.text
    assert f'action="{action}"' not in answer.text, "there is nothing left to pair"
    assert len(pairs(desk, number)) == 1


def test_what_is_no_photo_is_refused_in_words_and_the_other_is_chosen_still(
    staff_client: Browser, number: str, refs: list[str]
) -> None:
    answer = send(staff_client, number, "", before="NONSENSE", after=refs[1])

    assert answer.status_code == 422
    assert "Please choose a photo from before the repair." in answer.text
    assert f'value="{refs[1]}" selected' in answer.text


def test_another_customers_link_opens_no_aligned_picture(
    staff_client: Browser, client: Browser, desk: Desk, number: str, refs: list[str], arrival: NewVisit
) -> None:
    pair = made(staff_client, desk, number, refs)
    other = take_in(desk, BENCH, arrival)

    assert client.get(f"/t/{token(other)}/photos/{pair.aligned_ref}-large.jpg").status_code == 404


def test_a_pair_with_a_photo_for_the_bench_is_not_the_customers(
    staff_client: Browser,
    client: Browser,
    installation: Installation,
    taken_in: TakenIn,
    refs: list[str],
    pictures: tuple[Clean, Clean],
) -> None:
    (number,), desk = taken_in.numbers, installation.desk
    photo_deeds.keep(desk, installation.photo_files, BENCH, number, pictures[0], moment="before", audience="bench")
    with desk.reading() as connection:
        hidden = photos.of_ticket(connection, find(connection, number).id)[-1].ref
    pair = made(staff_client, desk, number, [hidden, refs[1]])

    page = client.get(f"/t/{token(taken_in)}/photos").text
    assert hidden not in page
    assert str(pair.aligned_ref) not in page
    assert f"{refs[1]}-small.jpg" in page
    assert client.get(f"/t/{token(taken_in)}/photos/{pair.aligned_ref}-large.jpg").status_code == 404

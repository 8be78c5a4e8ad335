"""A pair is made without scripts, and looked at on a narrow phone; axe-core looks too."""

from __future__ import annotations

from random import Random

import pytest

from portal.actions import photo_pairs as deeds
from portal.actions import photos as photo_deeds
from portal.actions.desk import find
from portal.actions.intake import TakenIn
from portal.main import Installation
from portal.rules.numbers import spoken
from portal.store import photo_pairs, photos
from seed.pictures import Album
from tests.browser.conftest import Open
from tests.browser.looks import faults
from tests.conftest import BENCH

VIEW = ("board", "0")


@pytest.fixture
def refs(installation: Installation, number: str, album: Album) -> list[str]:
    """A before and an after of the same board."""
    for moment in ("before", "after"):
        picture = album.photo(VIEW, moment)
        photo_deeds.keep(installation.desk, installation.photo_files, BENCH, number, picture, moment=moment)
    with installation.desk.reading() as connection:
        return [photo.ref for photo in photos.of_ticket(connection, find(connection, number).id)]


@pytest.fixture(scope="module")
def album() -> Album:
    """The demo's own pictures."""

    return Album(Random(1))


def test_a_pair_is_made_without_scripts(
    at_bench: Open, installation: Installation, number: str, refs: list[str]
) -> None:
    page = at_bench(f"/bench/{spoken(number)}/photos", width=360, scripts=False)

    page.get_by_role("button", name="Make a pair", exact=True).click()

    page.get_by_text("The photo from after the repair lies over the one from before.").wait_for()
    with installation.desk.reading() as connection:
        (pair,) = photo_pairs.of_ticket(connection, find(connection, number).id)
    assert [pair.before, pair.after] == refs


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_both_sides_of_a_pair_have_no_fault_that_axe_finds_and_fit_320_px(
    at_bench: Open, open_page: Open, installation: Installation, taken_in: TakenIn, refs: list[str], dark: bool
) -> None:
    (number,) = taken_in.numbers
    deeds.make(installation.desk, installation.photo_files, BENCH, number, *refs)
    customers = "/t/" + taken_in.link.rpartition("/")[2] + "/photos"

    for page in (
        at_bench(f"/bench/{spoken(number)}/photos", width=320, dark=dark),
        open_page(customers, width=320, dark=dark),
    ):
        assert faults(page) == []
        assert page.evaluate("document.documentElement.scrollWidth") <= 320

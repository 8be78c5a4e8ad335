"""Something is pointed out on a copy: the photo stays, and the copy goes wherever the photo goes."""

from __future__ import annotations

import pytest

from portal.actions import photo_copies as deeds
from portal.actions import photo_pairs
from portal.actions import photos as photo_deeds
from portal.actions.desk import Desk, NotFound, find
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewVisit, take_in
from portal.rules.picture_parts import Part
from portal.rules.refusals import Refused, Unfit
from portal.store import journal, photos
from portal.store.photo_files import SIZES, PhotoFiles
from tests.actions.aftermath import messages, ticket_of
from tests.actions.photo_shelf import keep, kept, names, pairs
from tests.conftest import BENCH

PART = Part(30, 40, 20, 15)


def test_it_is_drawn_on_a_copy_and_the_photo_stays(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    original = keep(desk, files, number, before, "before")
    was = [files.read(original, size) for size in SIZES]

    deeds.point_out(desk, files, BENCH, number, original, "ring", [PART], caption="The crack")

    photo, copy = kept(desk, number)
    assert (photo.ref, photo.caption) == (original, "")
    assert [files.read(original, size) for size in SIZES] == was
    assert (copy.moment, copy.caption, copy.audience, copy.width) == ("before", "The crack", "customer", 800)
    assert [files.read(copy.ref, size) for size in SIZES] != was
    with desk.reading() as connection:
        assert photos.copies(connection, photo.ticket_id) == {copy.ref: original}


def test_the_customer_is_told_of_one_that_is_for_them(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    original = keep(desk, files, number, before, "before")
    told = len(messages(desk))

    deeds.point_out(desk, files, BENCH, number, original, "arrow", [PART], audience="bench")
    assert len(messages(desk)) == told
    deeds.point_out(desk, files, BENCH, number, original, "arrow", [PART])

    ticket = ticket_of(desk, number)
    assert messages(desk)[told:] == [("noted", ticket.ref, {"entry": ticket.revision})]
    with desk.reading() as connection:
        assert journal.entries(connection, ticket.id)[-1].event == "photo_pointed_out"


def test_a_copy_of_a_copy_is_one_of_the_photo(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    original = keep(desk, files, number, before, "before")
    deeds.point_out(desk, files, BENCH, number, original, "ring", [PART])
    copy = kept(desk, number)[1].ref

    deeds.point_out(desk, files, BENCH, number, copy, "arrow", [PART])

    with desk.reading() as connection:
        found = photos.copies(connection, find(connection, number).id)
    assert set(found.values()) == {original}
    assert len(found) == 2


def test_a_photo_that_is_withdrawn_takes_its_copies_and_their_pairs_along(
    desk: Desk, files: PhotoFiles, number: str, before, after
) -> None:
    first, second = keep(desk, files, number, before, "before"), keep(desk, files, number, after, "after")
    deeds.point_out(desk, files, BENCH, number, first, "ring", [PART])
    copy = kept(desk, number)[2].ref
    photo_pairs.make(desk, files, BENCH, number, copy, second)
    assert pairs(desk, number)[0].aligned_ref

    photo_deeds.withdraw(desk, files, BENCH, number, first)

    assert [photo.ref for photo in kept(desk, number)] == [second]
    assert pairs(desk, number) == []
    assert names(files) == {second}


def test_a_copy_that_is_withdrawn_leaves_the_photo(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    original = keep(desk, files, number, before, "before")
    deeds.point_out(desk, files, BENCH, number, original, "ring", [PART])

    photo_deeds.withdraw(desk, files, BENCH, number, kept(desk, number)[1].ref)

    assert [photo.ref for photo in kept(desk, number)] == [original]
    assert names(files) == {original}


def test_forgetting_a_ticket_forgets_copies_too(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    original = keep(desk, files, number, before, "before")
    deeds.point_out(desk, files, BENCH, number, original, "ring", [PART])
    with desk.writing() as connection:
        gone = photos.forget(connection, find(connection, number).id)

    assert set(gone) == names(files)
    assert kept(desk, number) == []


def test_a_form_sent_twice_makes_one_copy(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    original = keep(desk, files, number, before, "before")

    for _ in range(2):
        deeds.point_out(desk, files, BENCH, number, original, "ring", [PART], deed_key="a" * 32)

    assert len(kept(desk, number)) == 2
    assert len(names(files)) == 2


def test_what_is_drawn_is_a_ring_or_an_arrow(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    original = keep(desk, files, number, before, "before")

    with pytest.raises(Unfit, match="a ring or an arrow"):
        deeds.point_out(desk, files, BENCH, number, original, "hidden", [PART])


def test_no_copy_is_made_of_another_repairs_photo_nor_once_the_device_has_left(
    desk: Desk, files: PhotoFiles, number: str, arrival: NewVisit, before
) -> None:
    original = keep(desk, files, number, before, "before")
    other = take_in(desk, BENCH, arrival).numbers[0]

    with pytest.raises(NotFound):
        deeds.point_out(desk, files, BENCH, other, original, "ring", [PART])
    return_unrepaired(desk, BENCH, number, "No parts.")
    with pytest.raises(Refused, match="has ended"):
        deeds.point_out(desk, files, BENCH, number, original, "ring", [PART])
    assert names(files) == {original}

"""Parts of a photo are hidden: in every picture that shows the same, and nothing of the old ones is left."""

from __future__ import annotations

import numpy as np
import pytest

from portal.actions import photo_copies, photo_pairs
from portal.actions import photo_hiding as deeds
from portal.actions import photos as photo_deeds
from portal.actions.desk import Desk, NotFound, find
from portal.actions.intake import NewVisit, take_in
from portal.pictures import worker
from portal.pictures.drawing import HIDING
from portal.rules.picture_parts import Part
from portal.rules.refusals import Refused
from portal.store import journal, photos
from portal.store.photo_files import SIZES, PhotoFiles
from tests.actions.aftermath import messages, ticket_of
from tests.actions.photo_shelf import keep, kept, names, no_room, pairs
from tests.conftest import BENCH
from tests.pictures.samples import opened

PART = Part(30, 40, 20, 15)


@pytest.fixture(autouse=True)
def _no_child_is_left():
    yield
    worker.dismiss()


def is_hidden(files: PhotoFiles, ref: str, part: Part = PART) -> bool:
    """Whether the part of a picture is one plain colour in every size."""
    found = []
    for size in SIZES:
        picture = opened(files.read(ref, size) or b"")
        left, top, right, bottom = part.pixels(picture.size)
        inside = np.asarray(picture.crop((left + 8, top + 8, right - 8, bottom - 8))).astype(int)
        found.append(np.abs(inside - HIDING).max() <= 8)
    assert found[0] == found[1]
    return all(found)


def test_it_is_hidden_in_both_sizes_under_a_new_name_and_the_old_files_are_gone(
    desk: Desk, files: PhotoFiles, number: str, before
) -> None:
    old = keep(desk, files, number, before, "before")

    deeds.hide(desk, files, BENCH, number, old, [PART, Part(0, 0, 20, 20)])

    (photo,) = kept(desk, number)
    assert photo.ref != old
    assert photo.known_as == old
    assert (photo.width, photo.height, photo.moment) == (800, 600, "before")
    assert names(files) == {photo.ref}
    assert is_hidden(files, photo.ref)
    assert is_hidden(files, photo.ref, Part(0, 0, 20, 20))
    assert not is_hidden(files, photo.ref, Part(60, 60, 10, 10))


def test_the_journal_tells_the_bench(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    old = keep(desk, files, number, before, "before")
    told = len(messages(desk))

    deeds.hide(desk, files, BENCH, number, old, [PART])

    with desk.reading() as connection:
        last = journal.entries(connection, find(connection, number).id)[-1]
    assert (last.event, last.audience, last.data) == ("photo_parts_hidden", "bench", {"photo": old})
    assert len(messages(desk)) == told


def test_more_can_be_hidden_afterwards(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    old = keep(desk, files, number, before, "before")
    deeds.hide(desk, files, BENCH, number, old, [PART])
    between = kept(desk, number)[0].ref

    deeds.hide(desk, files, BENCH, number, between, [Part(70, 70, 10, 10)])

    (photo,) = kept(desk, number)
    assert photo.known_as == old
    assert names(files) == {photo.ref}
    assert is_hidden(files, photo.ref)
    assert is_hidden(files, photo.ref, Part(70, 70, 10, 10))


def test_a_photo_of_the_bench_is_shown_to_its_customer_by_the_same_deed(
    desk: Desk, files: PhotoFiles, number: str, before
) -> None:
    photo_deeds.keep(desk, files, BENCH, number, before, audience="bench")
    old = kept(desk, number)[0].ref
    told = len(messages(desk))

    deeds.hide(desk, files, BENCH, number, old, [PART], release=True)

    (photo,) = kept(desk, number)
    ticket = ticket_of(desk, number)
    with desk.reading() as connection:
        assert photos.for_customer(connection, ticket.visit_id, photo.ref) == photo
        assert photos.for_customer(connection, ticket.visit_id, old) is None
        entries = journal.entries(connection, ticket.id)
    assert [entry.event for entry in entries][-2:] == ["photo_parts_hidden", "photo_released"]
    assert messages(desk)[told:] == [("noted", ticket.ref, {"entry": ticket.revision})]


@pytest.mark.parametrize("which", ["before", "after"])
def test_the_pair_it_is_in_shows_nothing_of_it_any_more(
    desk: Desk, files: PhotoFiles, number: str, before, after, which: str
) -> None:
    first, second = keep(desk, files, number, before, "before"), keep(desk, files, number, after, "after")
    photo_pairs.make(desk, files, BENCH, number, first, second)
    (pair,) = pairs(desk, number)
    assert pair.aligned_ref

    deeds.hide(desk, files, BENCH, number, getattr(pair, which), [Part(20, 25, 40, 40)])

    (anew,) = pairs(desk, number)
    assert anew.ref == pair.ref
    assert anew.aligned_ref
    assert anew.aligned_ref != pair.aligned_ref
    assert names(files) == {anew.before, anew.after, anew.aligned_ref}
    if which == "after":  # moved a little, it lies about where it lay
        assert is_hidden(files, anew.aligned_ref, Part(32, 36, 18, 18))


def test_where_it_fits_no_more_the_pair_is_shown_as_it_was_taken(
    desk: Desk, files: PhotoFiles, number: str, before, after
) -> None:
    first, second = keep(desk, files, number, before, "before"), keep(desk, files, number, after, "after")
    photo_pairs.make(desk, files, BENCH, number, first, second)

    deeds.hide(desk, files, BENCH, number, second, [Part(0, 0, 100, 99)])

    (pair,) = pairs(desk, number)
    assert pair.aligned_ref is None
    assert names(files) == {pair.before, pair.after}


@pytest.mark.parametrize("which", ["original", "copy"])
def test_what_shows_the_same_is_hidden_with_it(desk: Desk, files: PhotoFiles, number: str, before, which: str) -> None:
    original = keep(desk, files, number, before, "before")
    photo_copies.point_out(desk, files, BENCH, number, original, "ring", [Part(70, 70, 10, 10)])
    copy = kept(desk, number)[1].ref
    other = keep(desk, files, number, before, "other")

    deeds.hide(desk, files, BENCH, number, {"original": original, "copy": copy}[which], [PART])

    first, second, third = kept(desk, number)
    assert third.ref == other
    assert not is_hidden(files, other)
    assert is_hidden(files, first.ref)
    assert is_hidden(files, second.ref)
    assert names(files) == {first.ref, second.ref, other}


def test_a_form_sent_twice_hides_once(desk: Desk, files: PhotoFiles, number: str, before) -> None:
    old = keep(desk, files, number, before, "before")

    once = deeds.hide(desk, files, BENCH, number, old, [PART], deed_key="a" * 32)
    again = deeds.hide(desk, files, BENCH, number, old, [PART], deed_key="a" * 32)

    assert (once.repeated, again.repeated) == (False, True)
    assert names(files) == {photo.ref for photo in kept(desk, number)}


def test_a_pair_made_meanwhile_is_not_left_with_what_was_to_be_hidden(
    desk: Desk, files: PhotoFiles, number: str, before, after, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = keep(desk, files, number, before, "before"), keep(desk, files, number, after, "after")
    draw = deeds.draw_in_child

    def slow(*what):
        photo_pairs.make(desk, files, BENCH, number, first, second)
        return draw(*what)

    monkeypatch.setattr(deeds, "draw_in_child", slow)

    with pytest.raises(Refused, match="Nothing was hidden"):
        deeds.hide(desk, files, BENCH, number, second, [PART])

    (pair,) = pairs(desk, number)
    assert names(files) == {first, second, pair.aligned_ref}


def test_hidden_meanwhile_it_is_not_paired_as_it_was(
    desk: Desk, files: PhotoFiles, number: str, before, after, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = keep(desk, files, number, before, "before"), keep(desk, files, number, after, "after")
    align = photo_pairs.align_in_child

    def slow(*what):
        deeds.hide(desk, files, BENCH, number, second, [PART])
        return align(*what)

    monkeypatch.setattr(photo_pairs, "align_in_child", slow)

    with pytest.raises(Refused):
        photo_pairs.make(desk, files, BENCH, number, first, second)

    assert names(files) == {photo.ref for photo in kept(desk, number)}


def test_no_room_leaves_everything_as_it_was(
    desk: Desk, files: PhotoFiles, number: str, before, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = keep(desk, files, number, before, "before")
    no_room(monkeypatch)

    with pytest.raises(photo_deeds.NoRoom):
        deeds.hide(desk, files, BENCH, number, old, [PART])

    assert [photo.ref for photo in kept(desk, number)] == [old]
    assert names(files) == {old}


def test_another_repairs_photo_is_not_found(
    desk: Desk, files: PhotoFiles, number: str, arrival: NewVisit, before
) -> None:
    other = take_in(desk, BENCH, arrival).numbers[0]
    theirs = keep(desk, files, other, before, "before")

    with pytest.raises(NotFound):
        deeds.hide(desk, files, BENCH, number, theirs, [PART])

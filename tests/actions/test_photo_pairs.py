"""A before and an after become a pair, laid over one another where that fits; whatever goes, nothing of it is left."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from portal.actions import photo_pairs as deeds
from portal.actions import photos as photo_deeds
from portal.actions.desk import Desk, NotFound, find
from portal.actions.intake import NewVisit, take_in
from portal.pictures.limits import Clean
from portal.rules.refusals import Refused, Unfit
from portal.store import archive, journal, photo_pairs, photos
from portal.store.photo_files import SIZES, PhotoFiles
from portal.store.photo_pairs import Pair
from tests.actions.photo_shelf import as_clean, keep, names, pairs
from tests.conftest import BENCH
from tests.pictures.samples import opened
from tests.pictures.scenes import scene


@pytest.fixture(scope="module")
def elsewhere() -> Clean:
    """Of something else."""
    return as_clean(scene(2))


@pytest.fixture
def pair(desk: Desk, files: PhotoFiles, number: str, before: Clean, after: Clean) -> Pair:
    """A pair that could be aligned."""
    first, second = keep(desk, files, number, before, "before"), keep(desk, files, number, after, "after")
    deeds.make(desk, files, BENCH, number, first, second)
    (made,) = pairs(desk, number)
    return made


def test_a_pair_that_fits_is_laid_over_one_another_in_both_sizes(files: PhotoFiles, pair: Pair) -> None:
    assert pair.aligned_ref
    assert pair.shown_after == pair.aligned_ref
    large = files.read(pair.aligned_ref, "large")
    assert large
    assert opened(large).size == (800, 600)
    assert files.read(pair.aligned_ref, "small")


def test_a_pair_in_doubt_is_left_as_it_was_taken(
    desk: Desk, files: PhotoFiles, number: str, before: Clean, elsewhere: Clean
) -> None:
    first, second = keep(desk, files, number, before, "before"), keep(desk, files, number, elsewhere, "after")

    deeds.make(desk, files, BENCH, number, first, second)

    (made,) = pairs(desk, number)
    assert made.aligned_ref is None
    assert made.shown_after == second
    assert names(files) == {first, second}
    with pytest.raises(Refused, match="could not be laid over"):
        deeds.show_as_taken(desk, BENCH, number, made.ref, False)


def test_a_pair_is_made_once(desk: Desk, files: PhotoFiles, number: str, before: Clean, after: Clean) -> None:
    first, second = keep(desk, files, number, before, "before"), keep(desk, files, number, after, "after")

    once = deeds.make(desk, files, BENCH, number, first, second, deed_key="a" * 32)
    again = deeds.make(desk, files, BENCH, number, first, second, deed_key="a" * 32)

    assert (once.repeated, again.repeated) == (False, True)
    assert len(pairs(desk, number)) == 1
    assert len(names(files)) == 3


def test_the_journal_tells_of_it(desk: Desk, number: str, pair: Pair) -> None:
    with desk.reading() as connection:
        last = journal.entries(connection, find(connection, number).id)[-1]
    assert (last.event, last.audience, last.data) == ("photos_paired", "customer", {"pair": pair.ref})


@pytest.mark.parametrize("moments", [("after", "before"), ("before", "before"), ("other", "after"), ("before", "tray")])
def test_a_pair_is_of_a_before_and_an_after(
    desk: Desk, files: PhotoFiles, number: str, before: Clean, moments: tuple[str, str]
) -> None:
    first, second = (keep(desk, files, number, before, moment) for moment in moments)

    with pytest.raises(Unfit, match="Please choose a photo from"):
        deeds.make(desk, files, BENCH, number, first, second)


def test_a_photo_of_another_repair_is_none_to_choose(
    desk: Desk, files: PhotoFiles, number: str, arrival: NewVisit, before: Clean, after: Clean
) -> None:
    other = take_in(desk, BENCH, arrival).numbers[0]
    mine, theirs = keep(desk, files, number, before, "before"), keep(desk, files, other, after, "after")

    with pytest.raises(Unfit) as found:
        deeds.make(desk, files, BENCH, number, mine, theirs)

    assert found.value.field == "after"


def test_a_photo_is_in_one_pair_at_most(desk: Desk, files: PhotoFiles, number: str, pair: Pair, after: Clean) -> None:
    another = keep(desk, files, number, after, "after")

    with pytest.raises(Refused, match="in a pair already"):
        deeds.make(desk, files, BENCH, number, pair.before, another)

    assert len(pairs(desk, number)) == 1


def test_it_can_be_shown_as_taken_and_as_aligned_again(desk: Desk, number: str, pair: Pair) -> None:
    deeds.show_as_taken(desk, BENCH, number, pair.ref, True)
    assert pairs(desk, number)[0].shown_after == pair.after

    deeds.show_as_taken(desk, BENCH, number, pair.ref, False)
    assert pairs(desk, number) == [pair]


def test_a_pair_taken_apart_leaves_its_photos_and_no_picture_of_its_own(
    desk: Desk, files: PhotoFiles, number: str, pair: Pair
) -> None:
    deeds.take_apart(desk, files, BENCH, number, pair.ref)

    assert pairs(desk, number) == []
    assert names(files) == {pair.before, pair.after}
    with pytest.raises(NotFound):
        deeds.take_apart(desk, files, BENCH, number, pair.ref)


@pytest.mark.parametrize("which", ["before", "after"])
def test_a_withdrawn_photo_takes_its_pair_along(
    desk: Desk, files: PhotoFiles, number: str, pair: Pair, which: str
) -> None:
    gone = getattr(pair, which)

    photo_deeds.withdraw(desk, files, BENCH, number, gone)

    assert pairs(desk, number) == []
    assert names(files) == {pair.before, pair.after} - {gone}


def test_another_repairs_pair_is_not_found(
    desk: Desk, files: PhotoFiles, arrival: NewVisit, number: str, pair: Pair
) -> None:
    other = take_in(desk, BENCH, arrival).numbers[0]

    with pytest.raises(NotFound):
        deeds.take_apart(desk, files, BENCH, other, pair.ref)
    with pytest.raises(NotFound):
        deeds.show_as_taken(desk, BENCH, other, pair.ref, True)


def test_only_who_may_see_both_photos_may_see_the_aligned_one(
    desk: Desk, files: PhotoFiles, number: str, before: Clean, after: Clean, pair: Pair
) -> None:
    photo_deeds.keep(desk, files, BENCH, number, before, moment="before", audience="bench")
    with desk.reading() as connection:
        ticket = find(connection, number)
        hidden = photos.of_ticket(connection, ticket.id)[-1].ref
    shown = keep(desk, files, number, after, "after")
    deeds.make(desk, files, BENCH, number, hidden, shown)
    for_both, for_bench = pairs(desk, number)
    assert for_both.aligned_ref
    assert for_bench.aligned_ref
    with desk.reading() as connection:
        assert photo_pairs.for_customer(connection, ticket.visit_id, for_both.aligned_ref) == for_both
        assert photo_pairs.for_customer(connection, ticket.visit_id, for_bench.aligned_ref) is None
        assert photo_pairs.for_customer(connection, ticket.visit_id + 1, for_both.aligned_ref) is None


def test_the_sweep_lets_the_aligned_picture_lie(desk: Desk, files: PhotoFiles, number: str, pair: Pair) -> None:
    assert photo_deeds.sweep_up(desk, files, datetime.now(UTC) + timedelta(days=2)) == (6, 0)
    assert pair.aligned_ref in names(files)


def test_forgetting_a_ticket_forgets_its_pairs_too(desk: Desk, files: PhotoFiles, number: str, pair: Pair) -> None:
    with desk.writing() as connection:
        refs = photos.forget(connection, find(connection, number).id)

    assert set(refs) == {pair.before, pair.after, pair.aligned_ref}
    assert pairs(desk, number) == []


def test_an_archive_holds_the_aligned_picture(desk: Desk, files: PhotoFiles, pair: Pair, tmp_path: Path) -> None:
    head = archive.write(desk.engine, files, tmp_path / "shop.archive", desk.clock.now())

    assert head.photos == 3 * len(SIZES)

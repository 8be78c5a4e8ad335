"""What is kept of the formal path: all while it runs and after a sale by law, else as long as a parcel’s address."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from notifications.instants import FixedClock
from portal.actions import formal_notices as deeds
from portal.actions import moves, pauses, retention
from portal.actions.desk import By, Desk
from portal.actions.formal_notices import KEPT_AFTER_A_SALE, Sold
from portal.actions.handover import hand_over
from portal.rules.retention import Kept
from portal.store import attempts, formal_notices, keeping
from portal.store.attempts import Attempt
from portal.store.photo_files import PhotoFiles
from tests.actions.aftermath import journal_of, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.actions.test_formal_notices import put_in_force, today, told_of_sale, told_to_collect
from tests.actions.test_undelivered import settle
from tests.conftest import BENCH

ADDRESS = "12 Harbour Rise\nQuayhaven"
WHY = "550 no such mailbox"


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """A device that is ready, in a shop whose policy names the law; that it is could not be told."""
    put_in_force(desk)
    bring_to(desk, number, "ready")
    settle(desk, "ready")
    return number


def letters(desk: Desk, number: str) -> Sequence[formal_notices.Kept]:
    with desk.reading() as connection:
        return formal_notices.of_ticket(connection, ticket_of(desk, number).id)


def log(desk: Desk, number: str) -> Sequence[Attempt]:
    with desk.reading() as connection:
        return attempts.attempts(connection, ticket_of(desk, number))


def held(desk: Desk, number: str) -> set[Kept]:
    with desk.reading() as connection:
        return set(keeping.of_visit(connection, ticket_of(desk, number).visit_id))


def let_go_through(desk: Desk, files: PhotoFiles, clock: FixedClock, *days: int) -> None:
    for each in days:
        clock.at += timedelta(days=each)
        retention.apply(desk, files, clock.now())


def sell(desk: Desk, by: By, clock: FixedClock, number: str) -> None:
    sold = Sold(today(clock), "90", "12.50", "Asked a solicitor on 10 June", "On the shop’s account, apart")
    deeds.write_down_sale(desk, by, number, sold)


def test_while_the_path_runs_the_letters_and_the_log_stay_whole(
    desk: Desk, files: PhotoFiles, clock: FixedClock, tmp_path: Path, ready: str
) -> None:
    told_of_sale(desk, clock, tmp_path, ready)
    written, tried = letters(desk, ready), log(desk, ready)
    assert WHY in [each.said for each in tried]

    let_go_through(desk, files, clock, 31, 60, 200)

    assert letters(desk, ready) == written
    assert log(desk, ready) == tried


@pytest.mark.parametrize("ends", ["taken back", "collected"])
def test_once_the_path_has_ended_what_became_of_messages_goes_in_its_time(
    desk: Desk, files: PhotoFiles, clock: FixedClock, tmp_path: Path, ready: str, ends: str
) -> None:
    told_to_collect(desk, clock, tmp_path, ready)
    let_go_through(desk, files, clock, 31)
    assert WHY in [each.said for each in log(desk, ready)]

    if ends == "collected":
        hand_over(desk, BENCH, ready, replace(WITHOUT_CODE, unsettled="Paid in cash."), confirmed=True)
    else:
        deeds.take_back(desk, BENCH, ready, letters(desk, ready)[0].id, "agreed")
    let_go_through(desk, files, clock, 1)

    assert WHY not in [each.said for each in log(desk, ready)]


def test_a_device_that_was_collected_keeps_the_letters_address_no_longer_than_a_parcels(
    desk: Desk, files: PhotoFiles, clock: FixedClock, tmp_path: Path, ready: str
) -> None:
    told_to_collect(desk, clock, tmp_path, ready)
    hand_over(desk, BENCH, ready, replace(WITHOUT_CODE, unsettled="Paid in cash."), confirmed=True)

    let_go_through(desk, files, clock, 14)
    assert [each.address for each in letters(desk, ready)] == [ADDRESS]
    let_go_through(desk, files, clock, 1)

    assert [(each.address, each.recipient) for each in letters(desk, ready)] == [("", "")]
    assert [each.reference for each in letters(desk, ready)] == ["RN 1234 5678 9GB"]  # that goes with the record


def test_after_a_sale_by_law_it_all_stays_until_the_keeper_has_looked_again(
    desk: Desk, files: PhotoFiles, clock: FixedClock, tmp_path: Path, ready: str, keeper: By
) -> None:
    told_of_sale(desk, clock, tmp_path, ready)
    clock.at += timedelta(days=100)
    sell(desk, keeper, clock, ready)
    written, tried = letters(desk, ready), log(desk, ready)

    let_go_through(desk, files, clock, 40, 200, 124)

    assert [(each.kind.value, each.address) for each in letters(desk, ready)] == [
        ("sell", ADDRESS),
        ("collect", ADDRESS),
    ]
    assert (letters(desk, ready), log(desk, ready)) == (written, tried)
    assert next(each.text for each in journal_of(desk, ready) if each.event == "sold_by_law").endswith("apart")
    with desk.reading() as connection:
        soon = keeping.lapsing(connection, clock.now().date(), clock.now().date() + timedelta(days=14))
    assert {each.pause.kept for each in soon} == set(KEPT_AFTER_A_SALE)
    assert {each.pause.reason for each in soon} == {
        "Sold by law on Sat, 20 Jun 2026: it shows how its owner was written to, and what they are due."
    }

    pauses.pause(desk, keeper, ready, list(KEPT_AFTER_A_SALE), "Nobody has asked yet.", "2028-06-17")
    let_go_through(desk, files, clock, 300)
    assert letters(desk, ready) == written

    let_go_through(desk, files, clock, 100)  # nobody looked again
    assert not held(desk, ready) & set(KEPT_AFTER_A_SALE)
    assert letters(desk, ready) == []


def test_where_a_parcel_went_is_not_erased_with_the_contact_while_it_is_kept_for_a_claim(
    desk: Desk, files: PhotoFiles, clock: FixedClock, tmp_path: Path, ready: str, keeper: By
) -> None:
    told_to_collect(desk, clock, tmp_path, ready)
    moves.move(desk, BENCH, ready, "testing", why="It hums.")
    moves.move(desk, BENCH, ready, "ready", confirmed=True)
    hand_over(desk, BENCH, ready, replace(WITHOUT_CODE, unsettled="Paid in cash."), confirmed=True)
    pauses.pause(desk, keeper, ready, [Kept.POST_ADDRESS, Kept.RECORD], "A claim", "2027-03-01")

    let_go_through(desk, files, clock, 340)

    assert Kept.CONTACT not in held(desk, ready)
    assert [each.address for each in letters(desk, ready)] == [ADDRESS]

"""Of how a device went back nothing is left once it is erased, and each kind of data goes for itself."""

from __future__ import annotations

from dataclasses import replace

import pytest

from portal.actions.desk import CUSTOMER, By, Desk
from portal.actions.giving_up import wish_on_paper
from portal.actions.handover import hand_over
from portal.actions.moves import move
from portal.actions.posting import Packed, came_back, post_back
from portal.actions.record import record
from portal.actions.return_ways import Wanted, choose
from portal.rules.intake_record import Item, Record
from portal.rules.posting import PACKING
from portal.store import bench_purge, purge, wishes
from tests.actions.aftermath import ticket_of
from tests.actions.bench import bring_to, with_code
from tests.conftest import BENCH
from tests.store.test_bench_purge import SECRET, dump

SIGNED = [[[271, 828], [182, 845]]]


@pytest.fixture
def gone(desk: Desk, number: str, keeper: By) -> str:
    """A device that was posted, came back, was given up on paper, and is collected after all; with marked words."""
    record(desk, BENCH, number, Record(items=[Item(SECRET)]))
    bring_to(desk, number, "ready")
    choose(desk, CUSTOMER, number, Wanted("post", address=SECRET, confirmed=True))
    post_back(desk, BENCH, number, Packed(SECRET, SECRET, "2026-03-02", tuple(PACKING)))
    came_back(desk, BENCH, number, "2026-03-02", SECRET)
    wish_on_paper(desk, keeper, number, True, "none inside", "letter", SECRET)
    choose(desk, CUSTOMER, number, Wanted("send", person=SECRET))
    handed = replace(with_code(desk, number), items=(), missing=SECRET, unsettled=SECRET, strokes=SIGNED)
    hand_over(desk, BENCH, number, handed)
    return number


def test_the_address_and_whom_they_sent_go_by_themselves(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")
    for wanted in (Wanted("send", person=SECRET), Wanted("post", address=SECRET, confirmed=True)):
        choose(desk, CUSTOMER, number, wanted)
        with desk.writing() as connection:
            bench_purge.return_addresses(connection, ticket_of(desk, number).visit_id)
        assert SECRET not in dump(desk)


def test_what_was_chosen_is_not_kept_once_it_is_not_ready_any_more(desk: Desk, number: str) -> None:
    bring_to(desk, number, "ready")
    choose(desk, CUSTOMER, number, Wanted("post", address=SECRET, confirmed=True))

    move(desk, BENCH, number, "testing", why="The fan is loud.")

    assert SECRET not in dump(desk)


def test_the_work_record_goes_and_the_evidence_stays_for_its_own_time(desk: Desk, gone: str) -> None:
    ticket = ticket_of(desk, gone)
    with desk.writing() as connection:
        purge.visit_contacts(connection, ticket.visit_id, "en")
        purge.record_but_its_shell(connection, ticket.id)

    left = [line for line in dump(desk).split("\n") if SECRET in line or "828" in line]
    assert sorted(line.partition(":")[0] for line in left) == ["handover_signatures", "wishes"]

    with desk.writing() as connection:
        wishes.forget(connection, ticket.visit_id)
    assert SECRET not in dump(desk)
    assert "828" not in dump(desk)


def test_everything_goes_with_its_ticket(desk: Desk, gone: str) -> None:
    ticket = ticket_of(desk, gone)
    with desk.writing() as connection:
        purge.record(connection, ticket.id)

    assert SECRET not in dump(desk)
    assert "828" not in dump(desk)

"""A page outlives its warranty while something about it is open, and so does what it is made from; not for ever."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from notifications.instants import FixedClock
from portal.actions import complaints, erasure, payments, retention, rights, staying
from portal.actions.desk import CUSTOMER, Desk
from portal.actions.handover import hand_over
from portal.actions.intake import NewDevice, NewVisit, TakenIn, take_in
from portal.actions.links import Over, resolve
from portal.actions.payments import Typed
from portal.actions.rights import Asked
from portal.rules.afterwards import ANSWER_STAYS, Matter
from portal.rules.retention import Kept
from portal.store import keeping, visits
from portal.store import rights as requests
from portal.store.photo_files import PhotoFiles
from tests.actions.aftermath import ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.conftest import BENCH

Deed = Callable[[Desk, str], object]


@pytest.fixture
def collected(desk: Desk, taken_in: TakenIn) -> TakenIn:
    """A console that was repaired and collected."""
    number = taken_in.numbers[0]
    bring_to(desk, number, "ready")
    hand_over(desk, BENCH, number, WITHOUT_CODE)
    return taken_in


def token_of(taken: TakenIn) -> str:
    return taken.link.rpartition("/")[2]


def is_over(desk: Desk, taken: TakenIn) -> bool:
    with desk.reading() as connection:
        try:
            resolve(desk, connection, token_of(taken))
        except Over:
            return True
    return False


def after_the_warranty(desk: Desk, clock: FixedClock, number: str, days: int = 1) -> None:
    with desk.reading() as connection:
        ends_at = visits.by_id(connection, ticket_of(desk, number).visit_id).link_ends_at
    assert ends_at is not None
    clock.at = max(clock.at, ends_at + timedelta(days=days))


def kept(desk: Desk, number: str) -> set[Kept]:
    with desk.reading() as connection:
        return set(keeping.of_visit(connection, ticket_of(desk, number).visit_id))


def owe(desk: Desk, number: str) -> None:
    payments.take(desk, BENCH, number, Typed("5", "cash"), confirmed=True)


def pay_back(desk: Desk, number: str) -> None:
    payments.give_back(desk, BENCH, number, Typed("5", "cash"))


def complain(desk: Desk, number: str) -> None:
    complaints.complain(desk, number, "It went dark again.")


def settle(desk: Desk, number: str) -> None:
    complaints.answer(desk, BENCH, number, "We look at it again.", closes=True)


def ask(desk: Desk, number: str) -> None:
    rights.enter(desk, CUSTOMER, Asked("access", "page", number=number))


def answer(desk: Desk, number: str) -> None:
    with desk.reading() as connection:
        [waiting] = requests.open_ones(connection)
    rights.settle(desk, BENCH, waiting.ref, "done", "Here it is.")


OPEN: dict[Matter, tuple[Deed, Deed]] = {
    Matter.COMPLAINT: (complain, settle),
    Matter.REFUND: (owe, pay_back),
    Matter.REQUEST: (ask, answer),
}


def test_with_nothing_open_the_page_ends_with_its_warranty(desk: Desk, clock: FixedClock, collected: TakenIn) -> None:
    assert not is_over(desk, collected)

    after_the_warranty(desk, clock, collected.numbers[0])

    assert is_over(desk, collected)


@pytest.mark.parametrize("matter", OPEN)
def test_what_is_open_keeps_the_page_and_its_data_until_it_is_settled_and_read(
    desk: Desk, files: PhotoFiles, clock: FixedClock, collected: TakenIn, matter: Matter
) -> None:
    number = collected.numbers[0]
    opens, settles = OPEN[matter]
    opens(desk, number)
    after_the_warranty(desk, clock, number)
    for days in (31, 100, 200):  # longer than a complaint is kept for before somebody looks again
        clock.at += timedelta(days=days)
        retention.apply(desk, files, clock.now())

    assert not is_over(desk, collected)
    assert kept(desk, number) >= set(staying.NEEDED)
    with desk.reading() as connection:
        assert visits.contacts_of(connection, ticket_of(desk, number).visit_id)[0].email == "ada@example.org"

    settles(desk, number)
    clock.at += ANSWER_STAYS - timedelta(minutes=1)
    assert not is_over(desk, collected)
    clock.at += timedelta(minutes=1)
    assert is_over(desk, collected)

    clock.at += staying.LOOKED_AT_AGAIN
    retention.apply(desk, files, clock.now())
    assert not kept(desk, number) & set(staying.NEEDED)


def test_what_its_owner_closed_they_know_of(desk: Desk, clock: FixedClock, collected: TakenIn) -> None:
    number = collected.numbers[0]
    complain(desk, number)
    after_the_warranty(desk, clock, number)
    assert not is_over(desk, collected)

    complaints.close(desk, CUSTOMER, number)

    assert is_over(desk, collected)


def test_what_is_kept_for_one_visit_does_not_hold_up_the_others(
    desk: Desk, files: PhotoFiles, clock: FixedClock
) -> None:
    numbers = []
    for _each in range(retention.BATCH + 2):
        numbers += take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], name="Ada")).numbers
        bring_to(desk, numbers[-1], "ready")
        hand_over(desk, BENCH, numbers[-1], WITHOUT_CODE)
    for number in numbers[: retention.BATCH]:  # a whole batch, and the first in the queue
        owe(desk, number)
    after_the_warranty(desk, clock, numbers[0], days=60)

    due = {each.kept: each.count for each in retention.apply(desk, files, clock.now())}

    assert due[Kept.CONTACT] == due[Kept.RECORD] == 2  # only what really went is counted
    assert [Kept.RECORD in kept(desk, number) for number in numbers] == [True] * retention.BATCH + [False] * 2


def test_an_erasure_at_its_owners_wish_waits_for_nothing_that_has_lapsed(
    desk: Desk, files: PhotoFiles, clock: FixedClock, collected: TakenIn
) -> None:
    number = collected.numbers[0]
    owe(desk, number)
    after_the_warranty(desk, clock, number, days=60)
    retention.apply(desk, files, clock.now())  # pauses for a week
    pay_back(desk, number)
    clock.at += staying.LOOKED_AT_AGAIN

    erasure.erase(desk, files, CUSTOMER, number, "asked for")

    assert not kept(desk, number) & set(staying.NEEDED)
    assert is_over(desk, collected)

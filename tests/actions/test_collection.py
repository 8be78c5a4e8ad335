"""Reminders put by the clock: each once, on its day, in its tone, until the device leaves, waits or is disputed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import select, update

from notifications.instants import FixedClock
from notifications.tables import outbox
from portal.actions import moves
from portal.actions import warranty as again
from portal.actions.collection import remind
from portal.actions.desk import Desk
from portal.actions.handover import hand_over
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.record import object_to, record
from portal.rules.intake_record import Record
from portal.store.tables import tickets
from tests.actions.aftermath import everything, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.conftest import BENCH


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """A ticket whose device is ready."""
    bring_to(desk, number, "ready")
    return number


def places(desk: Desk) -> list[int]:
    """The places in the series of the reminders in the outbox."""
    with desk.reading() as connection:
        rows = connection.execute(select(outbox.c.facts).where(outbox.c.event == "uncollected").order_by(outbox.c.id))
        return [facts["place"] for (facts,) in rows]


def walk(desk: Desk, clock: FixedClock, days: int) -> None:
    """Let so many days pass, with a sweep at noon of each."""
    for _day in range(days):
        clock.at += timedelta(days=1)
        remind(desk, clock.now())


def choose(desk: Desk, number: str, day: date) -> None:
    with desk.writing() as connection:
        connection.execute(update(tickets).where(tickets.c.number == number).values(collect_on=day, remind_at=None))


def test_a_year_of_silence_brings_each_reminder_once(desk: Desk, clock: FixedClock, ready: str) -> None:
    walk(desk, clock, 365)

    assert places(desk) == [0, 1, 2, 3]


def test_the_same_moment_twice_does_nothing_the_second_time(desk: Desk, clock: FixedClock, ready: str) -> None:
    walk(desk, clock, 4)
    before = everything(desk)

    assert remind(desk, clock.now()) == (0, 0)
    assert everything(desk) == before


def test_a_clock_that_slept_sends_only_the_latest(desk: Desk, clock: FixedClock, ready: str) -> None:
    remind(desk, clock.now())
    clock.at += timedelta(days=100)

    remind(desk, clock.now())

    assert places(desk) == [3]


def test_a_clock_that_wakes_up_while_the_shop_is_closed_waits_until_it_opens(
    desk: Desk, clock: FixedClock, ready: str
) -> None:
    for slept_until in ("2026-03-07T23:10+00:00", "2026-03-08T12:00+00:00", "2026-03-09T07:59+00:00"):  # to Monday
        clock.at = datetime.fromisoformat(slept_until)
        remind(desk, clock.now())
        assert places(desk) == []

    clock.at = datetime(2026, 3, 9, 9, 0, tzinfo=UTC)
    remind(desk, clock.now())

    assert places(desk) == [1]


def test_nobody_is_reminded_before_it_is_ready(desk: Desk, clock: FixedClock, number: str) -> None:
    walk(desk, clock, 60)

    assert places(desk) == []


def test_collection_ends_the_series(desk: Desk, clock: FixedClock, ready: str) -> None:
    walk(desk, clock, 4)
    hand_over(desk, BENCH, ready, WITHOUT_CODE, confirmed=True)
    walk(desk, clock, 60)

    assert places(desk) == [0]


def test_a_dispute_stops_it_and_its_end_lets_it_go_on(desk: Desk, clock: FixedClock, ready: str) -> None:
    moves.hold(desk, BENCH, ready, "dispute")
    walk(desk, clock, 10)
    assert places(desk) == []

    moves.hold(desk, BENCH, ready, "none")
    walk(desk, clock, 2)

    assert places(desk) == [1]


def test_an_objection_to_the_record_stops_it_until_a_new_version_answers_it(
    desk: Desk, clock: FixedClock, number: str
) -> None:
    record(desk, BENCH, number, Record(shop_sees="A scratched lid"))
    bring_to(desk, number, "ready")
    object_to(desk, number, 1, "There was no scratch.")
    walk(desk, clock, 10)
    assert places(desk) == []

    record(desk, BENCH, number, Record(shop_sees="A lid"))
    walk(desk, clock, 2)

    assert places(desk) == [1]


def test_an_objection_to_what_was_found_under_warranty_stops_it_until_somebody_has_looked_again(
    desk: Desk, clock: FixedClock, ready: str
) -> None:
    hand_over(desk, BENCH, ready, WITHOUT_CODE)
    back = again.take_back_in(desk, BENCH, ready, "Hums again.").numbers[0]
    again.decide(desk, BENCH, back, "other", "customer", "It is the plug.")
    bring_to(desk, back, "ready")
    again.object_to(desk, back, "It is not the plug.")
    walk(desk, clock, 10)
    assert places(desk) == []

    again.decide(desk, BENCH, back, "same", "shop", "It is the old solder joint.")
    walk(desk, clock, 2)

    assert places(desk) == [1]


def test_going_back_to_the_bench_begins_anew(desk: Desk, clock: FixedClock, ready: str) -> None:
    walk(desk, clock, 10)
    moves.move(desk, BENCH, ready, "testing", why="It hums again.")
    walk(desk, clock, 10)
    moves.move(desk, BENCH, ready, "ready", confirmed=True)
    walk(desk, clock, 5)

    assert places(desk) == [0, 1, 0]


def test_a_chosen_day_moves_the_series(desk: Desk, clock: FixedClock, ready: str) -> None:
    remind(desk, clock.now())
    choose(desk, ready, clock.now().date() + timedelta(days=20))

    walk(desk, clock, 20)
    assert places(desk) == []
    walk(desk, clock, 5)
    assert places(desk) == [0]


def test_many_ready_devices_are_each_reminded_once(desk: Desk, clock: FixedClock) -> None:
    for _each in range(60):
        number = take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")], email="ada@example.org")).numbers[0]
        with desk.writing() as connection:
            connection.execute(update(tickets).where(tickets.c.number == number).values(stage="ready"))
    remind(desk, clock.now())

    walk(desk, clock, 4)

    assert places(desk) == [0] * 60


def test_a_shop_whose_last_stage_is_another_by_now_reminds_nobody_of_the_old_one(
    desk: Desk, clock: FixedClock, ready: str
) -> None:
    remind(desk, clock.now())
    with desk.writing() as connection:
        connection.execute(update(tickets).where(tickets.c.number == ready).values(stage="testing"))

    walk(desk, clock, 30)

    assert places(desk) == []
    assert ticket_of(desk, ready).stage == "testing"

"""Ready windows are kept: learned each night, made again on events, told to customers only when they have been true."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from sqlalchemy import select

from notifications import outbox
from portal.actions import windows as deeds
from portal.actions.desk import Desk, find
from portal.actions.moves import move
from portal.actions.shelf import put
from portal.rules.refusals import Refused, Unfit
from portal.rules.windows import Why
from portal.store import visits, windows
from portal.store.forecast_tables import curves, learned
from portal.store.windows import Kept
from tests.actions.pasts import a_past, kept
from tests.conftest import BENCH, MONDAY


def messages(desk: Desk, number: str) -> list[str]:
    with desk.reading() as connection:
        return [trace.event for trace in outbox.about(connection, [find(connection, number).ref])]


def page_revision(desk: Desk, number: str) -> int:
    with desk.reading() as connection:
        return visits.by_id(connection, find(connection, number).visit_id).revision


def swept(desk: Desk, at: datetime | None = None) -> tuple[int, int]:
    if at is not None:
        desk.clock.at = at
    return deeds.sweep(desk, desk.clock.now())


def test_before_there_is_a_past_it_is_said_how_much_of_one_is_needed(desk: Desk, number: str) -> None:
    swept(desk)

    found = kept(desk, number)
    assert found is not None
    assert (found.why, found.found, found.needed) == (Why.THIN, 0, 40)
    assert (found.first, found.last, found.median) == (None, None, None)


def test_a_past_that_has_held_gives_a_window_that_customers_are_shown(desk: Desk, number: str) -> None:
    a_past(desk)
    swept(desk)

    found = kept(desk, number)
    assert found is not None
    assert found.why is Why.SHOWN
    days = [found.first, found.half_first, found.median, found.half_last, found.last]
    assert None not in days
    assert days == sorted(days)
    assert found.told_last == found.last
    assert found.read == (found.first, found.last)


def test_the_same_moment_twice_does_nothing_the_second_time(desk: Desk, number: str) -> None:
    a_past(desk)

    assert swept(desk)[1] > 0
    assert swept(desk) == (0, 0)


def test_where_nothing_is_due_nothing_is_written(desk: Desk, number: str, monkeypatch: pytest.MonkeyPatch) -> None:
    a_past(desk)
    swept(desk)
    monkeypatch.setattr(Desk, "writing", lambda _desk: pytest.fail("it waited for its turn to write"))

    assert swept(desk) == (0, 0)


def test_a_new_day_makes_every_window_anew(desk: Desk, number: str) -> None:
    a_past(desk)
    swept(desk)

    looked_at, _made = swept(desk, MONDAY + timedelta(days=1))

    assert looked_at == 2  # the past, and the one device
    found = kept(desk, number)
    assert found is not None
    assert found.made_at == MONDAY + timedelta(days=1)


def test_moving_a_device_makes_its_window_anew_at_once(desk: Desk, number: str) -> None:
    a_past(desk)
    swept(desk)
    before = kept(desk, number)

    move(desk, BENCH, number, "board_work")

    after = kept(desk, number)
    assert before is not None
    assert after is not None
    assert after.last is not None
    assert before.last is not None
    assert after.last < before.last  # half of the way lies behind it
    assert after.told_last == before.told_last


def test_what_else_happens_to_a_ticket_is_found_by_the_clock(desk: Desk, number: str) -> None:
    a_past(desk)
    swept(desk)

    put(desk, BENCH, number, place="Shelf 2")

    assert swept(desk) == (1, 1)


def test_once_ready_nothing_is_kept_and_after_all_not_ready_it_is_made_again(desk: Desk, number: str) -> None:
    a_past(desk)
    swept(desk)
    for stage in ("board_work", "testing", "ready"):
        move(desk, BENCH, number, stage, confirmed=True)
    assert kept(desk, number) is None

    move(desk, BENCH, number, "board_work", why="The fault is back.")

    assert kept(desk, number) is not None


def test_customers_pages_change_only_with_what_they_show(desk: Desk, number: str) -> None:
    a_past(desk)
    swept(desk)
    before = page_revision(desk, number)

    deeds_on_the_same_day = swept(desk, MONDAY + timedelta(minutes=1))

    assert deeds_on_the_same_day == (0, 0)
    assert page_revision(desk, number) == before


@pytest.mark.parametrize(("many", "why"), [(39, Why.THIN), (60, Why.UNPROVEN), (120, Why.SHOWN)])
def test_windows_are_shown_once_enough_is_finished_and_they_have_held(
    desk: Desk, number: str, many: int, why: Why
) -> None:
    a_past(desk, many)
    swept(desk)

    found = kept(desk, number)
    assert found is not None
    assert found.why is why


def test_a_past_taken_over_is_learned_from_at_the_next_opportunity(desk: Desk, number: str) -> None:
    swept(desk)
    a_past(desk)
    swept(desk, MONDAY + timedelta(minutes=2))

    found = kept(desk, number)
    assert found is not None
    assert found.median is not None


def test_what_is_learned_says_nothing_of_anybody(desk: Desk) -> None:
    a_past(desk)
    swept(desk)

    with desk.reading() as connection:
        known = connection.execute(select(learned)).one()
        states = set(connection.execute(select(curves.c.state)).scalars())
    assert known.finished == 120
    assert states == {"received", "board_work", "received *", "board_work *"}


# Promised by hand


def test_a_promise_stands_on_the_ticket_and_in_the_journal(desk: Desk, number: str) -> None:
    deeds.promise(desk, BENCH, number, promised_on="2026-03-20")

    with desk.reading() as connection:
        assert find(connection, number).promised_on == date(2026, 3, 20)


@pytest.mark.parametrize("typed", ["", "soon", "2026-03-01"])
def test_what_is_no_day_to_come_is_not_promised(desk: Desk, number: str, typed: str) -> None:
    with pytest.raises(Unfit) as unfit:
        deeds.promise(desk, BENCH, number, promised_on=typed)

    assert unfit.value.field == "promised_on"


def test_nothing_is_promised_of_what_is_ready(desk: Desk, number: str) -> None:
    for stage in ("board_work", "testing", "ready"):
        move(desk, BENCH, number, stage, confirmed=True)

    with pytest.raises(Refused):
        deeds.promise(desk, BENCH, number, promised_on="2026-03-20")


# A window that moves


def late(desk: Desk, number: str) -> Kept:
    """Let so much time pass that the day which the customer first read will be missed."""
    a_past(desk)
    swept(desk)
    first = kept(desk, number)
    assert first is not None
    assert first.last is not None
    swept(desk, MONDAY + (first.last - MONDAY.date()) - timedelta(days=1))
    move(desk, BENCH, number, "board_work")
    found = kept(desk, number)
    assert found is not None
    return found


def test_a_day_that_will_be_missed_is_noticed_before_it_is(desk: Desk, number: str) -> None:
    found = late(desk, number)

    assert found.moved_since is not None
    assert found.told_last is not None
    assert desk.clock.now().date() < found.told_last
    with desk.reading() as connection:
        assert [line.number for line in windows.moved(connection)] == [number]
    assert "window_moved" not in messages(desk, number)  # a person says why


def test_the_customer_is_told_once_a_miss_and_reckons_with_the_new_day(desk: Desk, number: str) -> None:
    before = late(desk, number)

    deeds.tell_moved(desk, BENCH, number, because="part")

    assert messages(desk, number).count("window_moved") == 1
    after = kept(desk, number)
    assert after is not None
    assert (after.moved_since, after.told_last) == (None, before.last)
    with pytest.raises(Refused):
        deeds.tell_moved(desk, BENCH, number, because="part")
    assert messages(desk, number).count("window_moved") == 1


def test_while_the_day_holds_there_is_nothing_to_tell(desk: Desk, number: str) -> None:
    a_past(desk)
    swept(desk)

    with pytest.raises(Refused):
        deeds.tell_moved(desk, BENCH, number, because="part")


def test_a_reason_is_one_of_the_list(desk: Desk, number: str) -> None:
    late(desk, number)

    with pytest.raises(Unfit) as unfit:
        deeds.tell_moved(desk, BENCH, number, because="we forgot")

    assert unfit.value.field == "because"


def test_a_promise_that_will_be_broken_is_noticed_and_is_not_the_shops_word_once_told(desk: Desk, number: str) -> None:
    a_past(desk)
    swept(desk)

    deeds.promise(desk, BENCH, number, promised_on="2026-03-03")

    found = kept(desk, number)
    assert found is not None
    assert found.moved_since is not None
    deeds.tell_moved(desk, BENCH, number, because="more")
    with desk.reading() as connection:
        assert find(connection, number).promised_on is None

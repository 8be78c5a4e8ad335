"""How an owner wants a device back: chosen once it is ready, changed freely, gone when it is not ready after all."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from sqlalchemy import select

from notifications.instants import FixedClock
from portal.actions.collection import remind
from portal.actions.desk import CUSTOMER, By, Desk
from portal.actions.moves import hold, move
from portal.actions.record import make_safe, record
from portal.actions.return_ways import Wanted, choose
from portal.rules.intake_record import Record
from portal.rules.refusals import Refused, Unfit
from portal.rules.return_ways import Way
from portal.store import handovers
from portal.store.handovers import Choice
from portal.store.tables import tickets
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, messages, ticket_of
from tests.actions.bench import bring_to
from tests.conftest import BENCH

THURSDAY = "2026-03-05"  # the tests begin on the Monday before
HOME = "Ada Marsh\n12 Harbour Rise\nQuayhaven"


@pytest.fixture
def ready(desk: Desk, number: str) -> str:
    """The number of a ticket whose device is ready."""
    bring_to(desk, number, "ready")
    return number


def chosen(desk: Desk, number: str) -> Choice | None:
    with desk.reading() as connection:
        return handovers.choice(connection, ticket_of(desk, number).id)


def test_a_day_is_chosen_and_changed(desk: Desk, ready: str) -> None:
    choose(desk, CUSTOMER, ready, Wanted("collect", THURSDAY))
    choose(desk, CUSTOMER, ready, Wanted("collect", "2026-03-09"))

    assert ticket_of(desk, ready).collect_on == date(2026, 3, 9)
    found = chosen(desk, ready)
    assert found is not None
    assert (found.way, found.day, found.sequence) == (Way.COLLECT, date(2026, 3, 9), 1)
    last = journal_of(desk, ready)[-1]
    assert (last.event, last.by_kind, last.data) == (
        "return_day_chosen",
        "customer",
        {"way": "collect", "day": "2026-03-09"},
    )
    assert_the_journal_rebuilds_the_row(desk, ready)


def test_somebody_is_sent_by_name_with_a_day_or_without(desk: Desk, ready: str) -> None:
    choose(desk, CUSTOMER, ready, Wanted("send", person="Ben Quill"))
    first = chosen(desk, ready)
    choose(desk, CUSTOMER, ready, Wanted("send", THURSDAY, person="Ben Quill"))

    assert first is not None
    assert (first.way, first.person, first.day) == (Way.SEND, "Ben Quill", None)
    assert ticket_of(desk, ready).collect_on == date(2026, 3, 5)
    assert "Ben" not in str([entry.data for entry in journal_of(desk, ready)])


def test_the_post_takes_an_address_that_was_read_over(desk: Desk, ready: str) -> None:
    with pytest.raises(Unfit, match="read the address over") as refused:
        choose(desk, CUSTOMER, ready, Wanted("post", address=HOME))
    assert refused.value.field == "confirmed"

    choose(desk, CUSTOMER, ready, Wanted("post", address=HOME, confirmed=True))

    found = chosen(desk, ready)
    assert found is not None
    assert (found.way, found.address) == (Way.POST, HOME)
    assert "Harbour" not in str([(entry.data, entry.text) for entry in journal_of(desk, ready)])


def test_what_belongs_to_another_way_is_not_kept(desk: Desk, ready: str) -> None:
    choose(desk, CUSTOMER, ready, Wanted("post", THURSDAY, "Ben", HOME, confirmed=True))
    posted = chosen(desk, ready)
    choose(desk, CUSTOMER, ready, Wanted("collect", THURSDAY, "Ben", HOME, confirmed=True))
    collected = chosen(desk, ready)

    assert posted is not None
    assert (posted.day, posted.person) == (None, "")
    assert collected is not None
    assert (collected.person, collected.address) == ("", "")


def test_a_day_that_is_called_off_is_remembered_for_the_calendar_only(desk: Desk, ready: str) -> None:
    choose(desk, CUSTOMER, ready, Wanted("collect", THURSDAY))
    choose(desk, CUSTOMER, ready, Wanted("post", address=HOME, confirmed=True))

    found = chosen(desk, ready)
    assert found is not None
    assert (found.day, found.sequence, ticket_of(desk, ready).collect_on) == (date(2026, 3, 5), 1, None)


@pytest.mark.parametrize(
    ("wanted", "field"),
    [
        (Wanted(""), "way"),
        (Wanted("pigeon"), "way"),
        (Wanted("collect"), "day"),
        (Wanted("collect", "2026-03-01"), "day"),
        (Wanted("collect", "2026-03-07"), "day"),
        (Wanted("collect", "2027-03-05"), "day"),
        (Wanted("collect", "\x00"), "day"),
        (Wanted("send"), "person"),
        (Wanted("send", person="x" * 121), "person"),
        (Wanted("send", "2026-03-07", "Ben"), "day"),
        (Wanted("post", confirmed=True), "address"),
        (Wanted("post", address="x" * 401, confirmed=True), "address"),
    ],
)
def test_what_does_not_fit_is_refused_by_its_field_and_changes_nothing(
    desk: Desk, ready: str, wanted: Wanted, field: str
) -> None:
    before = everything(desk)

    with pytest.raises(Unfit) as refused:
        choose(desk, CUSTOMER, ready, wanted)
    assert refused.value.field == field
    assert everything(desk) == before


def test_nothing_is_chosen_before_it_is_ready_or_while_there_is_a_dispute(desk: Desk, number: str) -> None:
    with pytest.raises(Refused, match="not ready"):
        choose(desk, CUSTOMER, number, Wanted("collect", THURSDAY))
    bring_to(desk, number, "ready")
    hold(desk, BENCH, number, "dispute")
    with pytest.raises(Refused, match="settled first"):
        choose(desk, CUSTOMER, number, Wanted("collect", THURSDAY))


def test_a_damaged_battery_is_not_posted_until_it_is_dealt_with(desk: Desk, ready: str) -> None:
    record(desk, BENCH, ready, Record(battery=("swollen",)))
    by_post = Wanted("post", address=HOME, confirmed=True)

    with pytest.raises(Refused, match="must not be posted"):
        choose(desk, CUSTOMER, ready, by_post)
    make_safe(desk, BENCH, ready, "A new cell is in it.")
    choose(desk, CUSTOMER, ready, by_post)


def test_ready_undone_calls_the_choice_off_and_says_so(desk: Desk, ready: str) -> None:
    choose(desk, CUSTOMER, ready, Wanted("send", THURSDAY, "Ben Quill"))

    move(desk, BENCH, ready, "testing", why="The fan is loud.")

    found = chosen(desk, ready)
    assert found is not None
    assert (found.way, found.person, found.sequence) == (None, "", 1)
    assert ticket_of(desk, ready).collect_on is None
    assert messages(desk)[-1][0] == "ready_undone"


def test_ready_undone_before_anything_was_chosen_says_nothing(desk: Desk, ready: str) -> None:
    before = messages(desk)

    move(desk, BENCH, ready, "testing", why="The fan is loud.")

    assert messages(desk) == before


def days_reminded(desk: Desk, clock: FixedClock, days: int) -> list[date]:
    """The days on which somebody was reminded while so many days went by."""
    found, before = [], len(messages(desk))
    for _day in range(days):
        clock.at += timedelta(days=1)
        remind(desk, clock.now())
        if len(messages(desk)) > before:
            before = len(messages(desk))
            found.append(clock.at.date())
    return found


def test_a_chosen_day_moves_the_reminders(desk: Desk, clock: FixedClock, ready: str) -> None:
    remind(desk, clock.now())
    choose(desk, CUSTOMER, ready, Wanted("collect", "2026-03-13"))

    assert days_reminded(desk, clock, 20)[0] == date(2026, 3, 16)  # three days after the day that was promised


def test_what_is_to_be_posted_is_nothing_to_remind_of_until_that_is_changed(
    desk: Desk, clock: FixedClock, ready: str
) -> None:
    choose(desk, CUSTOMER, ready, Wanted("post", address=HOME, confirmed=True))
    assert days_reminded(desk, clock, 40) == []

    choose(desk, CUSTOMER, ready, Wanted("send", person="Ben"))
    assert days_reminded(desk, clock, 2) != []


def test_the_bench_writes_down_what_a_customer_said(desk: Desk, ready: str, technician: By) -> None:
    choose(desk, technician, ready, Wanted("collect", THURSDAY))

    assert journal_of(desk, ready)[-1].by == "Robin"
    with desk.reading() as connection:
        assert connection.execute(select(tickets.c.remind_at)).scalar_one() is None

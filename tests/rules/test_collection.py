"""Reminders for devices that are ready: on open days, moved by a chosen day; and what storage costs."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import holidays
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal import resources
from portal.rules.collection import (
    Tone,
    Waiting,
    due_now,
    milder,
    next_reminder,
    storage_charge,
    storage_starts,
    tone,
)
from portal.rules.policy import Policy
from portal.rules.policy_check import check
from portal.rules.policy_collection import Storage

LONDON = ZoneInfo("Europe/London")
DEFAULT = resources.default_policy().read_text(encoding="utf-8")
POLICY = Policy.model_validate(tomllib.loads(DEFAULT))
ENGLAND = POLICY.model_copy(update={"hours": POLICY.hours.model_copy(update={"public_holidays": "GB-ENG"})})
GERMANY = POLICY.model_copy(
    update={
        "hours": POLICY.hours.model_copy(update={"public_holidays": "DE"}),
        "shop": POLICY.shop.model_copy(update={"zone": "Europe/Berlin"}),
    }
)
READY = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)  # a Monday afternoon

moments = st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 1), timezones=st.just(UTC))  # noqa: DTZ001
waitings = st.builds(Waiting, moments, st.none() | st.dates(date(2026, 1, 1), date(2027, 12, 31)), st.integers(0, 4))


def days(waiting: Waiting, policy: Policy = POLICY) -> list[date]:
    """The local days on which the whole series falls due."""
    zone = ZoneInfo(policy.shop.zone)
    found = []
    for sent in range(len(policy.collection.reminders)):
        reminder = next_reminder(Waiting(waiting.ready_at, waiting.chosen_day, sent), policy)
        assert reminder is not None
        found.append(reminder.due_at.astimezone(zone).date())
    return found


def test_the_series_counts_from_the_day_it_was_ready() -> None:
    # 2 March and 3, 7, 14, 28 days; the default shop opens Monday to Friday.
    assert days(Waiting(READY)) == [date(2026, 3, 5), date(2026, 3, 9), date(2026, 3, 16), date(2026, 3, 30)]


def test_a_chosen_day_moves_the_whole_series() -> None:
    assert days(Waiting(READY, date(2026, 3, 13)))[0] == date(2026, 3, 16)


def test_a_day_chosen_before_it_was_ready_moves_nothing() -> None:
    assert days(Waiting(READY, date(2026, 1, 1))) == days(Waiting(READY))


def test_after_the_last_there_is_none() -> None:
    assert next_reminder(Waiting(READY, None, len(POLICY.collection.reminders)), POLICY) is None


@pytest.mark.parametrize(
    ("policy", "calendar"),
    [(ENGLAND, holidays.country_holidays("GB", "ENG")), (GERMANY, holidays.country_holidays("DE"))],
    ids=["England", "Germany"],
)
@given(waiting=waitings)
def test_a_reminder_falls_on_an_open_day_and_never_early(
    policy: Policy, calendar: holidays.HolidayBase, waiting: Waiting
) -> None:
    zone = ZoneInfo(policy.shop.zone)
    first = max(waiting.ready_at.astimezone(zone).date(), waiting.chosen_day or date.min)
    for after, day in zip(policy.collection.reminders, days(waiting, policy), strict=True):
        assert policy.hours.on(day.weekday())
        assert day not in calendar  # the library as a second opinion
        assert day >= first + timedelta(days=after)
        # And on the first such day: every day before it was closed.
        between = [first + timedelta(days=after + step) for step in range((day - first).days - after)]
        assert all(not policy.hours.on(each.weekday()) or each in calendar for each in between)


@given(waitings, st.integers(0, 400))
def test_of_several_that_are_due_only_the_latest_is_sent(waiting: Waiting, passed: int) -> None:
    now = waiting.ready_at + timedelta(days=passed)

    due = due_now(waiting, POLICY, now)

    if due is None:
        following = next_reminder(waiting, POLICY)
        assert following is None or following.due_at > now
    else:
        assert due.due_at <= now
        following = next_reminder(Waiting(waiting.ready_at, waiting.chosen_day, due.place + 1), POLICY)
        assert following is None or following.due_at > now


def test_the_tone_goes_from_friendly_to_firm() -> None:
    assert [tone(place, 4) for place in range(4)] == [Tone.FRIENDLY, Tone.PLAIN, Tone.FIRM, Tone.LAST]
    assert [tone(place, 2) for place in range(2)] == [Tone.FRIENDLY, Tone.LAST]
    assert tone(0, 1) is Tone.FRIENDLY


STORAGE = Storage(per_day=Decimal("1.50"), after_days=28, at_most=Decimal(30), terms_point="storage")


@pytest.mark.parametrize(
    ("on", "costs"),
    [
        (date(2026, 3, 30), "0"),  # the 28th day is free
        (date(2026, 3, 31), "1.50"),  # the 29th is the first that costs
        (date(2026, 4, 1), "3.00"),
        (date(2026, 4, 19), "30"),  # twenty days: the cap
        (date(2027, 4, 19), "30"),
    ],
)
def test_storage_is_counted_by_started_days_after_the_free_ones_up_to_the_cap(on: date, costs: str) -> None:
    assert storage_charge(Waiting(READY), STORAGE, on, LONDON) == Decimal(costs)


@given(waitings, st.dates(date(2026, 1, 1), date(2030, 1, 1)))
def test_storage_never_costs_more_than_its_cap_nor_anything_before_its_first_day(waiting: Waiting, on: date) -> None:
    charge = storage_charge(waiting, STORAGE, on, LONDON)

    assert 0 <= charge <= STORAGE.at_most
    assert (charge > 0) == (on >= storage_starts(waiting, STORAGE, LONDON))


def test_a_day_that_ends_at_midnight_of_the_shop_counts_as_the_shops_own() -> None:
    late = datetime.combine(date(2026, 6, 1), time(23, 30), UTC)  # half past midnight on 2 June in London

    assert storage_starts(Waiting(late), STORAGE, LONDON) == date(2026, 7, 1)


@given(st.integers(1, 50), st.integers(1, 60), st.integers(1, 500), st.integers(0, 400))
def test_what_may_be_asked_is_never_more_than_was_accepted_nor_than_is_asked_today(
    per_day: int, after_days: int, at_most: int, days: int
) -> None:
    present = Storage(
        per_day=Decimal(per_day), after_days=after_days, at_most=Decimal(at_most), terms_point="uncollected"
    )
    on, waiting = date(2026, 3, 2) + timedelta(days=days), Waiting(READY)

    asked = storage_charge(waiting, milder(STORAGE, present), on, LONDON)

    assert asked <= min(storage_charge(waiting, each, on, LONDON) for each in (STORAGE, present))
    assert milder(STORAGE, STORAGE) == STORAGE


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("reminders = [7, 3]", "days that grow"),
        ("reminders = [3, 3]", "days that grow"),
        ("reminders = [0]", "1 or more"),
        ('law = "atlantis"', "england-wales-northern-ireland"),
        ('storage = { per_day = 1, after_days = 28, at_most = 30, terms_point = "nowhere" }', "no point of the terms"),
        ('storage = { per_day = 0, after_days = 28, at_most = 30, terms_point = "storage" }', "0"),
    ],
)
def test_a_policy_that_cannot_be_meant_is_refused(written: str, told: str) -> None:
    faults = [str(fault) for fault in check(f"{DEFAULT}\n[collection]\n{written}\n")]

    assert len(faults) == 1
    assert told in faults[0]

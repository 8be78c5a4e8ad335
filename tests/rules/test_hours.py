"""When the shop is open: by weekday, on public holidays, while closed, and on the nights when clocks change."""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.hours import (
    coming_closures,
    holiday_on,
    is_open,
    next_open,
    next_working_day,
    open_spans,
)
from portal.rules.policy import Policy

LONDON, BERLIN = ZoneInfo("Europe/London"), ZoneInfo("Europe/Berlin")
NINE_TO_FIVE = [{"opens": "09:00", "closes": "17:00"}]
WITH_LUNCH = [{"opens": "14:00", "closes": "18:00"}, {"opens": "09:00", "closes": "12:30"}]


def shop(zone: str = "Europe/London", **hours: object) -> Policy:
    """A shop that is open on weekdays, with whatever else is said of its hours."""
    days = dict.fromkeys(("monday", "tuesday", "wednesday", "thursday", "friday"), NINE_TO_FIVE)
    text = {"en": "Something"}
    return Policy.model_validate(
        {
            "shop": {"name": "The bench", "address": ["1 Example Lane"], "zone": zone},
            "hours": days | hours,
            "stages": [{"key": key, "label": text, "sentence": text} for key in ("received", "ready")],
            "kinds": [{"key": "other", "label": text}],
        }
    )


def at(text: str) -> datetime:
    """A moment in London's wall time."""
    return datetime.fromisoformat(text).replace(tzinfo=LONDON)


OPEN = [
    ("2026-03-02T08:59", False),
    ("2026-03-02T09:00", True),
    ("2026-03-02T16:59", True),
    ("2026-03-02T17:00", False),
    ("2026-03-07T12:00", False),
]


@pytest.mark.parametrize(("moment", "answer"), OPEN)
def test_the_shop_is_open_from_its_first_minute_until_just_before_its_last(moment: str, answer: bool):
    assert is_open(at(moment), shop()) is answer


# England's bank holidays of 2026 and 2027, as `holidays` 0.109 reckons them (the government's own list was not read).
BANK_HOLIDAYS = [
    *(date(2026, month, day) for month, day in ((1, 1), (4, 3), (4, 6), (5, 4), (5, 25), (8, 31), (12, 25), (12, 28))),
    *(
        date(2027, month, day)
        for month, day in ((1, 1), (3, 26), (3, 29), (5, 3), (5, 31), (8, 30), (12, 27), (12, 28))
    ),
]


@pytest.mark.parametrize("day", BANK_HOLIDAYS, ids=str)
def test_the_shop_is_closed_on_its_countrys_public_holidays(day: date):
    policy = shop(public_holidays="GB-ENG")

    assert open_spans(day, policy.hours, LONDON) == []
    assert open_spans(day, shop().hours, LONDON) != []


def test_the_first_of_may_is_a_holiday_in_germany_and_not_in_england():
    may_day = date(2026, 5, 1)

    assert holiday_on(may_day, shop(public_holidays="DE").hours)
    assert not holiday_on(may_day, shop(public_holidays="GB-ENG").hours)


def test_a_region_has_holidays_of_its_own():
    womens_day = date(2027, 3, 8)  # a public holiday in Berlin since 2019 (Berlin's law on Sundays and holidays, § 1)

    assert holiday_on(womens_day, shop(public_holidays="DE-BE").hours)
    assert not holiday_on(womens_day, shop(public_holidays="DE-BY").hours)


def test_closed_days_count_from_the_first_to_the_last():
    policy = shop(closed=[{"first": "2026-08-03", "last": "2026-08-14"}])

    assert next_open(at("2026-07-31T17:00"), policy) == at("2026-08-17T09:00")
    assert is_open(at("2026-07-31T16:00"), policy)
    assert not is_open(at("2026-08-03T10:00"), policy)
    assert not is_open(at("2026-08-14T10:00"), policy)


def test_a_lunch_break_is_closed_and_spans_come_in_order():
    policy = shop(monday=WITH_LUNCH)
    spans = open_spans(date(2026, 3, 2), policy.hours, LONDON)

    assert [f"{span.opens:%H:%M}–{span.closes:%H:%M}" for span in spans] == ["09:00–12:30", "14:00–18:00"]
    assert not is_open(at("2026-03-02T13:00"), policy)
    assert next_open(at("2026-03-02T13:00"), policy) == at("2026-03-02T14:00")


def test_while_open_the_next_opening_is_now():
    assert next_open(at("2026-03-02T11:11"), shop()) == at("2026-03-02T11:11")


def test_after_easter_the_shop_opens_on_tuesday():
    policy = shop(public_holidays="GB-ENG")

    assert next_open(at("2026-04-02T18:00"), policy) == at("2026-04-07T09:00")
    assert next_working_day(date(2026, 4, 3), policy) == date(2026, 4, 7)
    assert next_working_day(date(2026, 4, 7), policy) == date(2026, 4, 7)


def test_a_shop_that_never_opens_has_no_next_opening():
    policy = shop(**{key: [] for key in ("monday", "tuesday", "wednesday", "thursday", "friday")})

    assert next_open(at("2026-03-02T11:00"), policy) is None
    assert next_working_day(date(2026, 3, 2), policy) is None


def test_opening_is_by_the_shops_clock_and_not_by_the_customers():
    new_york_evening = datetime(2026, 3, 2, 3, 30, tzinfo=ZoneInfo("America/New_York"))  # 08:30 in London

    assert next_open(new_york_evening, shop()) == at("2026-03-02T09:00")


def test_nine_tomorrow_is_wall_time_across_a_clock_change():
    policy = shop(sunday=NINE_TO_FIVE, saturday=NINE_TO_FIVE)

    before, after = (next_open(at(f"2026-03-{day}T05:00"), policy) for day in (28, 29))

    assert before is not None
    assert after is not None
    assert after - before == timedelta(hours=23)


# Both zones change at 01:00 UTC (tzdata): forward on 2026-03-29, back on 2026-10-25. Times in the gap are read with
# the offset before it, and times that happen twice as the first (RFC 5545 3.3.5).
NIGHTS = [
    ("Europe/London", date(2026, 3, 29), "01:30", "2026-03-29T01:30+00:00"),
    ("Europe/London", date(2026, 10, 25), "01:30", "2026-10-25T00:30+00:00"),
    ("Europe/Berlin", date(2026, 3, 29), "02:30", "2026-03-29T01:30+00:00"),
    ("Europe/Berlin", date(2026, 10, 25), "02:30", "2026-10-25T00:30+00:00"),
]


@pytest.mark.parametrize(("zone", "night", "opens", "instant"), NIGHTS)
def test_a_shop_that_opens_within_the_clock_change_opens_once(zone: str, night: date, opens: str, instant: str):
    policy = shop(zone, sunday=[{"opens": opens, "closes": "06:00"}])
    opening = datetime.fromisoformat(instant)

    assert next_open(opening - timedelta(minutes=30), policy) == opening
    assert is_open(opening, policy)
    assert not is_open(opening - timedelta(minutes=1), policy)


def test_a_night_shop_is_open_an_hour_less_in_spring_and_an_hour_more_in_autumn():
    policy = shop(sunday=[{"opens": "00:00", "closes": "06:00"}])

    def length(day: date) -> timedelta:
        [span] = open_spans(day, policy.hours, LONDON)
        return span.closes - span.opens

    assert length(date(2026, 3, 22)) == timedelta(hours=6)
    assert length(date(2026, 3, 29)) == timedelta(hours=5)
    assert length(date(2026, 10, 25)) == timedelta(hours=7)


def test_a_span_that_the_clock_change_swallows_is_no_span():
    policy = shop(sunday=[{"opens": "01:15", "closes": "02:15"}])

    assert open_spans(date(2026, 3, 22), policy.hours, LONDON) != []
    assert open_spans(date(2026, 3, 29), policy.hours, LONDON) == []


def test_a_closure_is_announced_until_it_is_over():
    policy = shop(closed=[{"first": "2026-09-01", "last": "2026-09-02"}, {"first": "2026-08-03", "last": "2026-08-14"}])

    def announced(month: int, day: int) -> list[date]:
        return [closed.first for closed in coming_closures(date(2026, month, day), policy.hours)]

    assert announced(7, 19) == []
    assert announced(7, 20) == [date(2026, 8, 3)]
    assert announced(8, 14) == [date(2026, 8, 3)]
    assert announced(8, 18) == [date(2026, 9, 1)]


MOMENTS = st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001


@given(MOMENTS, st.sampled_from(["Europe/London", "Europe/Berlin", "America/New_York", "Australia/Lord_Howe"]))
def test_the_next_opening_is_never_past_and_the_shop_is_open_then_and_not_before(moment: datetime, zone: str):
    policy = shop(zone, sunday=[{"opens": "01:00", "closes": "02:30"}], public_holidays="GB-ENG")

    opening = next_open(moment, policy)

    assert opening is not None
    assert opening >= moment
    assert is_open(opening, policy)
    assert is_open(moment, policy) == (opening == moment)
    assert not is_open(opening - timedelta(seconds=1), policy) or opening == moment


@given(st.dates(date(2026, 1, 1), date(2027, 12, 31)))
def test_spans_of_a_day_lie_in_it_in_order_and_do_not_touch(day: date):
    spans = open_spans(day, shop(monday=WITH_LUNCH, sunday=[{"opens": "00:30", "closes": "03:00"}]).hours, LONDON)

    assert all(span.opens.astimezone(LONDON).date() == day for span in spans)
    assert all(span.opens < span.closes for span in spans)
    assert all(first.closes <= second.opens for first, second in itertools.pairwise(spans))

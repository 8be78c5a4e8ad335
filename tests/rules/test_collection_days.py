"""The days on which a device may be collected: open ones, from now on, within the policy's weeks."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.collection_days import fit_day, open_days, open_on
from portal.rules.hours import is_open
from portal.rules.refusals import Unfit
from tests.rules.test_hours import WITH_LUNCH, at, shop

EASTER = shop(public_holidays="GB-ENG")  # Good Friday and Easter Monday 2026: 3 and 6 April
MOMENTS = st.datetimes(datetime(2026, 1, 1), datetime(2027, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001


@given(now=MOMENTS)
def test_each_day_offered_is_open_still_to_come_and_in_order(now: datetime) -> None:
    days = open_days(now, EASTER)

    assert [each.day for each in days] == sorted({each.day for each in days})
    for each in days:
        assert is_open(each.opens, EASTER)
        assert each.opens < each.closes
        assert now < each.closes
        assert each.day <= now.astimezone(ZoneInfo("Europe/London")).date() + timedelta(weeks=4)
        assert fit_day(each.day.isoformat(), now, EASTER) == each.day


def test_today_is_offered_until_the_shop_has_closed_for_the_day() -> None:
    lunch = shop(monday=WITH_LUNCH)

    for moment, first in (
        ("2026-03-02T08:00", date(2026, 3, 2)),
        ("2026-03-02T13:00", date(2026, 3, 2)),
        ("2026-03-02T17:59", date(2026, 3, 2)),
        ("2026-03-02T18:00", date(2026, 3, 3)),
    ):
        assert open_days(at(moment), lunch)[0].day == first


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "missing"),
        ("tomorrow", "not a date"),
        ("2026-02-30", "not a date"),
        ("2026-03-27", "over"),
        ("0001-01-01", "over"),
        ("2026-04-03", "closed"),
        ("2026-04-04", "closed"),
        ("2026-04-06", "closed"),
        ("2026-05-29", "too far"),
        ("9999-12-31", "too far"),
    ],
)
def test_a_day_that_cannot_be_is_refused_with_what_would_help(typed: str, says: str) -> None:
    with pytest.raises(Unfit, match=says) as refused:
        fit_day(typed, at("2026-03-30T10:00"), EASTER)
    assert refused.value.field == "day"


def test_a_shop_without_hours_offers_no_day() -> None:
    never = shop(**{day: [] for day in ("monday", "tuesday", "wednesday", "thursday", "friday")})

    assert open_days(at("2026-03-30T10:00"), never) == []
    with pytest.raises(Unfit):
        fit_day("2026-03-31", at("2026-03-30T10:00"), never)


@pytest.mark.parametrize(
    ("zone", "day", "opens", "closes"),
    [
        ("Europe/London", date(2026, 3, 27), "09:00Z", "17:00Z"),
        ("Europe/London", date(2026, 3, 30), "08:00Z", "16:00Z"),
        ("Europe/Berlin", date(2026, 10, 23), "07:00Z", "15:00Z"),
        ("Europe/Berlin", date(2026, 10, 26), "08:00Z", "16:00Z"),
    ],
)
def test_hours_are_the_walls_before_and_after_clocks_change(zone: str, day: date, opens: str, closes: str) -> None:
    found = open_on(day, shop(zone))

    assert found is not None
    assert (f"{found.opens:%H:%MZ}", f"{found.closes:%H:%MZ}") == (opens, closes)


def test_on_the_day_itself_a_span_over_the_gap_is_as_long_as_it_is() -> None:
    night = shop(sunday=[{"opens": "00:30", "closes": "03:00"}])

    found = open_on(date(2026, 3, 29), night)

    assert found is not None
    assert found.closes - found.opens == timedelta(hours=1, minutes=30)

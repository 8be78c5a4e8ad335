"""The register of what is kept: every category has an entry, every period an end, and the calendar decides.

GDPR (EU) 2016/679 Art. 5(1)(c), (e), 6(1), 30(1)(f), recital 39. Periods: Limitation Act 1980 s. 5; HMRC Notice 700/21.
"""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from portal import resources
from portal.rules.categories import Category
from portal.rules.periods import Period, due_before, goes_at, read_period
from portal.rules.policy import Policy
from portal.rules.policy_check import check
from portal.rules.policy_retention import usual
from portal.rules.retention import REGISTER, Kept, Life, Start, ends

LONDON = ZoneInfo("Europe/London")
DEFAULT = resources.default_policy().read_text(encoding="utf-8")

periods = st.one_of(
    st.builds(Period, st.integers(0, 1000), st.just("day")),
    st.builds(Period, st.integers(0, 400), st.just("month")),
    st.builds(Period, st.integers(0, 30), st.just("year")),
)
moments = st.datetimes(datetime(2000, 1, 1), datetime(2090, 1, 1), timezones=st.just(UTC))  # noqa: DTZ001 (hypothesis adds the zone)
zones = st.sampled_from([ZoneInfo(name) for name in ("Europe/London", "Europe/Berlin", "Pacific/Chatham", "UTC")])


def with_periods(**changed: str) -> str:
    kept = {name: value for name, value in usual().model_dump().items() if name != "longer_because"} | changed
    return DEFAULT + "\n[retention]\n" + "".join(f'{name} = "{value}"\n' for name, value in kept.items() if value)


def test_every_category_of_data_is_in_the_register() -> None:
    registered = {category for entry in REGISTER.values() for category in entry.categories}

    assert registered == set(Category) - {Category.NONE}


@pytest.mark.parametrize("kept", Kept)
def test_every_entry_says_all_that_a_record_of_processing_asks_for(kept: Kept) -> None:
    entry = REGISTER[kept]

    # Art. 30(1)(b), (c), (d), (f): purposes, categories of data, recipients, time limits for erasure.
    assert all(str(words) for words in (entry.name, entry.purpose, entry.receivers, entry.then, entry.ground))
    assert not entry.usual.longer_than(entry.longest)


def test_a_shop_that_says_nothing_keeps_what_can_be_defended() -> None:
    periods = {kept.value: str(usual().period(kept)) for kept in Kept}

    assert periods["contact"] == periods["photo"] == "30 days"  # after the warranty
    assert periods["money"] == "6 years"  # HMRC Notice 700/21: “at least 6 years”
    assert periods["approval"] == "6 years"  # Limitation Act 1980 section 5
    assert periods["post_address"] == "14 days"


def test_a_policy_may_set_its_own_periods() -> None:
    assert [str(fault) for fault in check(with_periods(contact="3 months"))] == []


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        ({"contact": ""}, "contact"),  # a category without a period is a category that is kept for ever
        ({"photo": "for ever"}, "a period with an end"),
        ({"photo": "9999 years"}, "a period with an end"),
        ({"photo": "-3 days"}, "a period with an end"),
        ({"photo": "2 years"}, "at most 1 year"),
        ({"post_address": "1 year"}, "at most 90 days"),
        ({"approval": "7 years"}, "Limitation Act"),
        ({"money": "11 years"}, "HMRC Notice 700/21"),
    ],
)
def test_a_policy_that_keeps_too_much_is_refused_with_the_reason(changed: dict[str, str], told: str) -> None:
    faults = [str(fault) for fault in check(with_periods(**changed))]

    assert len(faults) == 1
    assert told in faults[0]


def test_local_law_may_ask_for_longer_once_the_shop_says_which() -> None:
    # Germany's periods for vouchers; from memory, section 147 of the Abgabenordnung. Local law decides.
    longer = with_periods(money="11 years") + 'longer_because.en = "Tax law"\nlonger_because.de = "Steuerrecht"\n'

    assert [str(fault) for fault in check(longer)] == []


def test_local_law_is_no_ground_to_keep_a_photo() -> None:
    longer = with_periods(photo="2 years") + 'longer_because.en = "Tax law"\nlonger_because.de = "Steuerrecht"\n'

    assert ["at most 1 year" in str(fault) for fault in check(longer)] == [True]


@pytest.mark.parametrize(
    ("start", "period", "goes"),
    [
        # Corresponding date (Reg. 1182/71 Art. 3(2)(c)); the period ends with the last hour of its last day.
        ("2026-08-31T09:00+00:00", Period(3, "month"), "2026-12-01T00:00+00:00"),
        ("2026-11-30T09:00+00:00", Period(3, "month"), "2027-03-01T00:00+00:00"),
        ("2028-02-29T09:00+00:00", Period(1, "year"), "2029-03-01T00:00+00:00"),
        ("2026-03-28T12:00+00:00", Period(1, "day"), "2026-03-29T23:00+00:00"),  # a day of 23 hours: midnight is BST
        ("2026-10-24T22:30+00:00", Period(0, "day"), "2026-10-24T23:00+00:00"),
        ("2026-10-24T23:30+00:00", Period(0, "day"), "2026-10-26T00:00+00:00"),  # already the 25th in London
    ],
)
def test_what_is_kept_goes_at_the_midnight_after_its_last_day(start: str, period: Period, goes: str) -> None:
    assert goes_at(datetime.fromisoformat(start), period, LONDON) == datetime.fromisoformat(goes)


@given(moments, periods, zones)
def test_nothing_goes_before_its_period_is_over_nor_stays_a_day_longer(
    start: datetime, period: Period, zone: ZoneInfo
) -> None:
    first = start.astimezone(zone).date()
    unit = {"day": "days", "month": "months", "year": "years"}[period.unit]
    last: date = first + relativedelta(**{unit: period.number})  # type: ignore[arg-type]

    goes = goes_at(start, period, zone).astimezone(zone)

    assert (goes - timedelta(microseconds=1)).date() == last


@given(moments, moments, periods, zones)
def test_a_database_asked_by_the_start_finds_exactly_what_is_due(
    start: datetime, now: datetime, period: Period, zone: ZoneInfo
) -> None:
    assert (start < due_before(now, period, zone)) == (goes_at(start, period, zone) <= now)


@given(periods)
def test_a_period_is_read_back_as_it_is_written(period: Period) -> None:
    assert read_period(str(period)) == period


@pytest.mark.parametrize("text", ["", "days", "30", "30 weeks", "1.5 years", "٣ days", "30 days or so", "99999 days"])
def test_what_is_no_period_is_not_guessed(text: str) -> None:
    assert read_period(text) is None


def test_a_period_that_has_not_begun_has_no_end() -> None:
    assert ends(Kept.CONTACT, Life(), Period(30, "day"), LONDON) is None


@given(st.sampled_from([kept for kept in Kept if REGISTER[kept].start in (Start.WARRANTY_OVER, Start.LEFT)]), moments)
def test_each_kind_of_data_has_its_own_start(kept: Kept, at: datetime) -> None:
    over = Life(warranty_over_at=at) if REGISTER[kept].start is Start.WARRANTY_OVER else Life(left_at=at)

    assert ends(kept, over, Period(30, "day"), LONDON) == goes_at(at, Period(30, "day"), LONDON)


def test_the_default_policy_has_the_usual_periods() -> None:
    assert Policy.model_validate(tomllib.loads(DEFAULT)).retention == usual()

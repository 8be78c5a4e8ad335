"""When messages may go out: by day, on days on which the shop opens, and right on the nights when clocks change."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from portal.rules.policy import Policy
from portal.rules.policy_check import check
from portal.rules.quiet import may_go_from
from tests.rules.policies import WHOLE

ALWAYS_OPEN = {
    day: [{"opens": "09:00", "closes": "17:00"}]
    for day in ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
}
WEEKDAYS = {day: spans for day, spans in ALWAYS_OPEN.items() if not day.startswith("s")}


def shop(zone: str = "Europe/London", hours: dict | None = None, **messages: object) -> Policy:
    """A shop with these hours, every day's if nothing is said, and whatever is said of messages."""
    text = {"en": "Something"}
    return Policy.model_validate(
        {
            "shop": {"name": "The bench", "address": ["1 Example Lane"], "zone": zone},
            "hours": ALWAYS_OPEN if hours is None else hours,
            "stages": [{"key": key, "label": text, "sentence": text} for key in ("received", "ready")],
            "kinds": [{"key": "other", "label": text}],
            "messages": messages,
        }
    )


def wall(text: str, zone: str = "Europe/London") -> datetime:
    """A moment in a zone's wall time."""
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone))


@pytest.mark.parametrize(
    ("ready", "goes"),
    [
        ("2026-03-02T07:59", "2026-03-02T08:00"),
        ("2026-03-02T08:00", "2026-03-02T08:00"),
        ("2026-03-02T19:59", "2026-03-02T19:59"),
        ("2026-03-02T20:00", "2026-03-03T08:00"),
        ("2026-03-03T00:30", "2026-03-03T08:00"),
        ("2026-03-06T21:00", "2026-03-09T08:00"),  # over a weekend
    ],
)
def test_messages_go_out_by_day_and_when_the_shop_opens(ready: str, goes: str):
    assert may_go_from(wall(ready), shop(hours=WEEKDAYS)) == wall(goes)


@pytest.mark.parametrize(
    ("hours", "goes"),
    [
        ({"public_holidays": "GB-ENG"}, "2026-04-07T08:00"),  # Good Friday to Easter Monday
        ({"closed": [{"first": "2026-04-03", "last": "2026-04-10"}]}, "2026-04-13T08:00"),
    ],
    ids=["holidays", "closed"],
)
def test_they_wait_over_holidays_and_closed_days(hours: dict, goes: str):
    assert may_go_from(wall("2026-04-02T20:30"), shop(hours=WEEKDAYS | hours)) == wall(goes)


def test_a_shop_may_let_them_go_out_on_closed_days():
    policy = shop(hours=WEEKDAYS, on_closed_days=True)

    assert may_go_from(wall("2026-03-07T12:00"), policy) == wall("2026-03-07T12:00")


def test_a_shop_that_wrote_down_no_hours_is_closed_on_holidays_only():
    policy = shop(hours={"public_holidays": "GB-ENG"})

    assert may_go_from(wall("2026-03-08T12:00"), policy) == wall("2026-03-08T12:00")
    assert may_go_from(wall("2026-12-25T12:00"), policy) == wall("2026-12-27T08:00")


def test_a_shop_closed_for_longer_than_can_be_foreseen_silences_nobody():
    policy = shop(hours={"closed": [{"first": "2026-01-01", "last": "2030-01-01"}]})

    assert may_go_from(wall("2026-03-02T23:00"), policy) == wall("2026-03-02T23:00")


# The nights on which the clocks change: both zones at 01:00 UTC, on 29 March and on 25 October 2026.


@pytest.mark.parametrize("zone", ["Europe/London", "Europe/Berlin"])
@pytest.mark.parametrize("evening", ["2026-03-28", "2026-10-24", "2027-03-27", "2027-10-30"])
def test_eight_in_the_morning_is_eight_on_the_wall_after_either_night(zone: str, evening: str):
    goes = may_go_from(wall(f"{evening}T21:00", zone), shop(zone))

    assert goes.astimezone(ZoneInfo(zone)).time() == time(8)
    assert goes.date() == date.fromisoformat(evening) + timedelta(days=1)


@pytest.mark.parametrize(
    ("zone", "gap"), [("Europe/London", "01:30"), ("Europe/Berlin", "02:30")], ids=["London", "Berlin"]
)
def test_a_day_that_begins_in_the_gap_begins_once(zone: str, gap: str):
    policy = shop(zone, day_begins=f"{gap}:00")

    # 01:30 UTC: the offset before the gap, an hour later on the wall.
    assert may_go_from(wall("2026-03-28T21:00", zone), policy) == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("zone", "fold"), [("Europe/London", "01:30"), ("Europe/Berlin", "02:30")], ids=["London", "Berlin"]
)
def test_a_day_that_begins_in_the_fold_begins_at_the_first_of_the_two(zone: str, fold: str):
    policy = shop(zone, day_begins=f"{fold}:00")

    assert may_go_from(wall("2026-10-24T21:00", zone), policy) == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert may_go_from(datetime(2026, 10, 25, 1, 30, tzinfo=UTC), policy) == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


MOMENTS = st.integers(0, 2 * 365 * 24 * 60).map(
    lambda minutes: datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)
TIMES = st.integers(0, 24 * 60 - 1).map(lambda minutes: f"{minutes // 60:02}:{minutes % 60:02}:00")


@given(
    moment=MOMENTS,
    zone=st.sampled_from(["Europe/London", "Europe/Berlin", "Pacific/Chatham"]),
    window=st.tuples(TIMES, TIMES).filter(lambda pair: pair[0] < pair[1]),
)
@example(datetime(2026, 3, 29, 0, 59, tzinfo=UTC), "Europe/Berlin", ("02:15:00", "03:10:00"))  # ends before it begins
def test_nothing_is_lost_and_nothing_goes_earlier_or_moves_again(moment: datetime, zone: str, window: tuple[str, str]):
    policy = shop(zone, hours=WEEKDAYS, day_begins=window[0], day_ends=window[1])

    goes = may_go_from(moment, policy)

    assert moment <= goes <= moment + timedelta(days=5)
    assert may_go_from(goes, policy) == goes
    assert goes.astimezone(ZoneInfo(zone)).weekday() < 5


# What the policy may say


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("day_begins = 20:00:00\nday_ends = 08:00:00", "messages from 20:00 to 08:00"),
        ("gather_minutes = 241", "240 or less"),
        ('channels = ["mail", "mail"]', "the channel “mail” twice"),
        ('channels = ["pigeon"]', "mail"),
        ("channels = []", "at least 1"),
    ],
)
def test_what_does_not_fit_is_told(written: str, told: str):
    faults = [str(fault.sentence()) for fault in check(f"{WHOLE}\n[messages]\n{written}\n")]

    assert len(faults) == 1
    assert told in faults[0]

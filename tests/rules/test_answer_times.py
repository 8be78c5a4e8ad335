"""An answer is wanted within working days, until the shop closes; a reminder comes when it opens."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.answer_times import answer_by, remind_at
from portal.rules.policy import Policy
from tests.rules.test_hours import at, shop

NEW_YEAR = datetime(2026, 1, 1, tzinfo=UTC)
FRIDAY = "2026-03-27T15:00"  # the clocks go forward on the Sunday after


def within(days: int, remind: int = 2, **hours: object) -> Policy:
    rules = shop(**hours)
    changed = {"answer_within_days": days, "remind_after_days": remind}
    return rules.model_copy(update={"approvals": rules.approvals.model_copy(update=changed)})


@pytest.mark.parametrize(
    ("days", "wanted"), [(1, "2026-03-30T17:00"), (2, "2026-03-31T17:00"), (5, "2026-04-03T17:00")]
)
def test_days_on_which_the_shop_is_closed_do_not_count(days: int, wanted: str) -> None:
    assert answer_by(at(FRIDAY), within(days)) == at(wanted)


def test_public_holidays_do_not_count() -> None:
    assert answer_by(at("2026-04-02T15:00"), within(1, public_holidays="GB-ENG")) == at("2026-04-07T17:00")  # Easter


def test_a_day_with_a_break_ends_with_its_last_closing() -> None:
    spans = [{"opens": "14:00", "closes": "18:00"}, {"opens": "09:00", "closes": "12:30"}]

    assert answer_by(at(FRIDAY), within(1, monday=spans)) == at("2026-03-30T18:00")


def test_a_reminder_comes_when_the_day_opens() -> None:
    assert remind_at(at(FRIDAY), within(5, 1)) == at("2026-03-30T09:00")
    assert remind_at(at(FRIDAY), within(5, 0)) is None


def test_a_shop_without_hours_counts_every_day() -> None:
    closed = {day: [] for day in ("monday", "tuesday", "wednesday", "thursday", "friday")}

    assert answer_by(at(FRIDAY), within(2, **closed)) == at("2026-03-29T18:00")


def test_a_shop_that_is_away_for_months_still_has_a_last_day() -> None:
    away = [{"first": "2026-03-01", "last": "2028-12-31", "note": {"en": "Away"}}]

    assert answer_by(at(FRIDAY), within(2, closed=away)) > at(FRIDAY)


@given(
    now=st.timedeltas(timedelta(), timedelta(days=365)).map(lambda since: NEW_YEAR + since),
    later=st.timedeltas(timedelta(), timedelta(days=30)),
    days=st.integers(1, 10),
)
def test_whoever_is_asked_later_may_answer_no_earlier_and_always_has_a_whole_day(
    now: datetime, later: timedelta, days: int
) -> None:
    rules = within(days, days)
    by, reminded = answer_by(now, rules), remind_at(now, rules)

    assert by <= answer_by(now + later, rules)
    assert reminded is not None
    assert now < reminded < by

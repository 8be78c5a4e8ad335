"""Days: which one it is where the shop is, and one as it was typed."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from portal.rules.days import local_day, read_day
from portal.rules.refusals import Unfit
from tests.rules.test_hours import shop

LONDON = shop()


@pytest.mark.parametrize(
    ("at", "day"),
    [
        (datetime(2026, 7, 1, 22, 59, tzinfo=UTC), date(2026, 7, 1)),
        (datetime(2026, 7, 1, 23, 0, tzinfo=UTC), date(2026, 7, 2)),  # midnight by summer time
        (datetime(2026, 12, 1, 23, 59, tzinfo=UTC), date(2026, 12, 1)),
    ],
)
def test_the_day_is_the_shop_s_and_not_that_of_utc(at: datetime, day: date) -> None:
    assert local_day(at, LONDON) == day


def test_a_typed_day_is_read_with_spaces_around_it() -> None:
    assert read_day("day", " 2026-12-08 ") == date(2026, 12, 8)


@pytest.mark.parametrize("typed", ["", "soon", "2026-02-30", "8.12.2026"])
def test_what_is_no_day_is_refused_at_its_field_with_what_was_typed(typed: str) -> None:
    with pytest.raises(Unfit) as refused:
        read_day("day", typed)

    assert refused.value.field == "day"
    assert str(refused.value.reasons[0]) == f"“{typed}” is not a date. Write it like 2026-12-08."


def test_of_what_goes_on_and_on_only_the_beginning_is_said_again() -> None:
    with pytest.raises(Unfit) as refused:
        read_day("day", "x" * 10_000)

    assert len(str(refused.value.reasons[0])) < 100

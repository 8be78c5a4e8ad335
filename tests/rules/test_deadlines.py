"""Months run to the corresponding date; answers are due on a working day."""

from __future__ import annotations

from datetime import UTC, date, datetime

import holidays
import pytest

from portal.rules.deadlines import answer_due, months_after, notice_of_breach_due

ENGLAND = holidays.country_holidays("GB", subdiv="ENG")
GERMANY = holidays.country_holidays("DE")


@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        # The corresponding-date rule of Dodds v Walker [1981]; dates reckoned by hand.
        (date(2026, 8, 31), 3, date(2026, 11, 30)),
        (date(2026, 11, 30), 3, date(2027, 2, 28)),
        (date(2026, 9, 30), 4, date(2027, 1, 30)),
        (date(2028, 1, 31), 1, date(2028, 2, 29)),
    ],
)
def test_months_run_to_the_corresponding_date_or_the_months_last(day: date, months: int, then: date) -> None:
    assert months_after(day, months) == then


@pytest.mark.parametrize(
    ("received", "due"),
    [
        # GDPR Art. 12(3), counted from the day of receipt as the ICO does; English holidays by the `holidays` library.
        (date(2026, 1, 31), date(2026, 3, 2)),  # 28 February is a Saturday
        (date(2026, 3, 3), date(2026, 4, 7)),  # Good Friday to Easter Monday lie between
        (date(2026, 3, 31), date(2026, 4, 30)),
        (date(2026, 9, 3), date(2026, 10, 5)),
        (date(2026, 11, 25), date(2026, 12, 29)),
        (date(2028, 1, 31), date(2028, 2, 29)),
        (date(2026, 4, 1), date(2026, 5, 1)),
    ],
)
def test_an_answer_is_due_after_one_month_on_a_working_day(received: date, due: date) -> None:
    assert answer_due(received, ENGLAND.__contains__) == due


@pytest.mark.parametrize(
    ("received", "due"), [(date(2026, 11, 25), date(2026, 12, 28)), (date(2026, 4, 1), date(2026, 5, 4))]
)
def test_other_countries_have_other_holidays(received: date, due: date) -> None:
    assert answer_due(received, GERMANY.__contains__) == due


@pytest.mark.parametrize(
    ("received", "due"), [(date(2026, 1, 31), date(2026, 4, 30)), (date(2028, 1, 31), date(2028, 5, 2))]
)
def test_an_extended_answer_has_three_months(received: date, due: date) -> None:
    assert answer_due(received, ENGLAND.__contains__, extended=True) == due


def test_the_breach_clock_runs_72_elapsed_hours_over_a_clock_change() -> None:
    """GDPR Art. 33(1): not later than 72 hours after having become aware; elapsed hours, a cautious reading."""
    aware = datetime(2026, 3, 27, 12, tzinfo=UTC)  # London puts its clocks forward on the 29th

    assert notice_of_breach_due(aware) == datetime(2026, 3, 30, 12, tzinfo=UTC)

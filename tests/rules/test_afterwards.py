"""After a device has left: the warranty runs in calendar months, and its owner's page stays as long."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from portal.rules.afterwards import link_ends, warranty_ends
from portal.rules.stages import Ending

LONDON = "Europe/London"
NOON = datetime(2026, 8, 31, 12, tzinfo=UTC)


@pytest.mark.parametrize(
    ("ending", "months", "last"),
    [
        (Ending.COLLECTED, 3, date(2026, 11, 30)),  # the corresponding-date rule
        (Ending.POSTED, 12, date(2027, 8, 31)),
        (Ending.COLLECTED, 0, None),
        (Ending.RETURNED, 3, None),
        (Ending.DISPOSED, 3, None),
    ],
)
def test_a_warranty_runs_so_many_calendar_months_from_the_handover(
    ending: Ending, months: int, last: date | None
) -> None:
    assert warranty_ends(NOON, ending, months, LONDON) == last


def test_the_day_of_the_handover_is_the_shops_own() -> None:
    late = datetime(2026, 6, 30, 23, 30, tzinfo=UTC)  # half past midnight in London, on the first of July

    assert warranty_ends(late, Ending.COLLECTED, 1, LONDON) == date(2026, 8, 1)


def test_the_page_stays_to_the_end_of_the_last_day_of_the_warranty() -> None:
    ends_at = link_ends([(Ending.COLLECTED, NOON)], 3, LONDON)

    assert ends_at == datetime(2026, 12, 1, tzinfo=UTC)


def test_the_page_stays_thirty_days_where_nothing_was_repaired() -> None:
    assert link_ends([(Ending.RETURNED, NOON)], 3, LONDON) == NOON + timedelta(days=30)


def test_the_page_stays_for_the_device_whose_warranty_runs_longest() -> None:
    both = [(Ending.RETURNED, NOON + timedelta(days=5)), (Ending.COLLECTED, NOON)]

    assert link_ends(both, 3, LONDON) == datetime(2026, 12, 1, tzinfo=UTC)


def test_the_page_has_no_end_while_a_device_is_here() -> None:
    assert link_ends([(Ending.COLLECTED, NOON), (None, None)], 3, LONDON) is None

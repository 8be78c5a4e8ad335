"""Counting: times sorted into buckets, weeks that begin on a Monday in the shop's time, nothing counted twice."""

from __future__ import annotations

import tomllib
from collections import Counter
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal import resources
from portal.rules.cells import safe_cell
from portal.rules.figures import (
    AGE_EDGES,
    EDGES,
    Asking,
    Figure,
    Measure,
    Weeks,
    age_bucket,
    askings,
    bucket,
    presence,
    promise,
    stays,
)
from portal.rules.forecast import Course, Step
from portal.rules.open_time import OpenTime
from portal.rules.policy import Policy
from portal.rules.questions import State

LONDON = ZoneInfo("Europe/London")
POLICY = Policy.model_validate(tomllib.loads(resources.default_policy().read_text(encoding="utf-8")))
OPEN_TIME = OpenTime(POLICY, date(2026, 1, 1), date(2027, 6, 1))
WEEKS = Weeks(LONDON)


def at(day: int, hour: int = 10, month: int = 11) -> datetime:
    return datetime(2026, month, day, hour, tzinfo=LONDON).astimezone(UTC)


def way(*steps: tuple[datetime, str, str], ended: datetime | None = None) -> Course:
    return Course("phone", tuple(Step(*step) for step in steps), None, ended)


@pytest.mark.parametrize("measure", EDGES)
@given(value=st.floats(-1000, 1000))
def test_a_value_lies_between_the_edges_of_its_bucket(measure: Measure, value: float) -> None:
    edges = EDGES[measure]
    place = bucket(measure, value)

    assert place == 0 or edges[place - 1] <= value
    assert place == len(edges) or value < edges[place]


def test_an_age_on_an_edge_belongs_to_the_bucket_above() -> None:
    assert [age_bucket(days) for days in (0, 1, 6.9, 7, 56, 400)] == [0, 1, 2, 3, 6, 6]
    assert len(AGE_EDGES) == 6


def test_time_on_hold_counts_for_the_hold_and_not_for_the_stage() -> None:
    # Monday 2 November 2026: two hours of board work, then a day and an hour waiting for a part, then an hour of work.
    found = stays(
        way(
            (at(2, 10), "board_work", ""),
            (at(2, 12), "board_work", "part"),
            (at(3, 13), "board_work", ""),
            (at(3, 14), "ready", ""),
            ended=at(9, 11),
        ),
        WEEKS,
        OPEN_TIME,
    )

    assert found[Figure(date(2026, 11, 2), Measure.STAY, "board_work", bucket(Measure.STAY, 2))] == 1
    assert found[Figure(date(2026, 11, 2), Measure.STAY, "board_work", bucket(Measure.STAY, 1))] == 1
    assert sum(count for figure, count in found.items() if figure.name == "hold:part") == 1
    # It was ready until the Monday after, and is counted in that week.
    assert {figure.week for figure in found if figure.name == "ready"} == {date(2026, 11, 9)}
    assert found.total() == 4


def test_what_has_not_ended_is_not_counted() -> None:
    assert stays(way((at(2), "received", "")), WEEKS, OPEN_TIME).total() == 0


def test_a_stage_entered_again_with_the_same_hold_is_one_stay() -> None:
    once = way((at(2), "cleaning", ""), (at(3), "cleaning", ""), (at(4), "ready", ""), ended=at(5))

    assert sum(count for figure, count in stays(once, WEEKS, OPEN_TIME).items() if figure.name == "cleaning") == 1


def test_presence_is_taken_as_each_week_begins() -> None:
    found = presence(way((at(4), "received", ""), (at(11), "testing", ""), ended=at(25)), WEEKS, at(30))

    assert found == Counter(
        {
            Figure(date(2026, 11, 9), Measure.HERE, "received"): 1,
            Figure(date(2026, 11, 16), Measure.HERE, "testing"): 1,
            Figure(date(2026, 11, 23), Measure.HERE, "testing"): 1,
        }
    )


@given(
    starts=st.integers(0, 60),
    lasts=st.lists(st.integers(1, 20), min_size=1, max_size=5),
    over=st.booleans(),
)
def test_a_device_is_in_one_stage_at_most_as_a_week_begins(starts: int, lasts: list[int], over: bool) -> None:
    began = at(1, month=6) + timedelta(days=starts)
    moments = [began + timedelta(days=sum(lasts[:place])) for place in range(len(lasts) + 1)]
    steps = tuple((moment, f"stage{place}", "") for place, moment in enumerate(moments[:-1]))
    now = at(1, month=12)

    found = presence(way(*steps, ended=moments[-1] if over else None), WEEKS, now)

    weeks = Counter(figure.week for figure in found.elements())
    assert all(count == 1 for count in weeks.values())
    end = moments[-1] if over else now
    mondays = [WEEKS.of(began) + timedelta(weeks=each) for each in range(60)]
    assert set(weeks) == {week for week in mondays if began <= WEEKS.begins(week) < end}


@pytest.mark.parametrize(
    ("moment", "monday"),
    [
        (datetime(2026, 11, 1, 23, 59, tzinfo=LONDON), date(2026, 10, 26)),
        (datetime(2026, 11, 2, 0, 0, tzinfo=LONDON), date(2026, 11, 2)),
        # The night of the clock change in London, 25 October 2026: a Sunday of 25 hours.
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), date(2026, 10, 19)),
        (datetime(2026, 6, 7, 23, 30, tzinfo=UTC), date(2026, 6, 8)),  # half past midnight on Monday in the shop
    ],
)
def test_a_week_begins_on_monday_in_the_shops_time(moment: datetime, monday: date) -> None:
    assert WEEKS.of(moment) == monday


def test_questions_are_counted_by_how_they_ended_and_how_long_a_yes_or_no_took() -> None:
    put = at(3)
    found = askings(
        [
            Asking(put, State.AGREED, put + timedelta(minutes=20)),
            Asking(put, State.DECLINED, put + timedelta(hours=30)),
            Asking(put, State.LAPSED, put + timedelta(days=5)),
            Asking(put, State.PUT, None),
        ],
        WEEKS,
    )

    week = date(2026, 11, 2)
    assert {figure.name for figure in found if figure.measure is Measure.ASKED} == {
        "agreed",
        "declined",
        "lapsed",
        State.PUT.value,
    }
    assert found[Figure(week, Measure.ANSWER, "", bucket(Measure.ANSWER, 20 / 60))] == 1
    assert sum(count for figure, count in found.items() if figure.measure is Measure.ANSWER) == 2


@pytest.mark.parametrize(
    ("late", "place"), [(-30, 0), (-7, 0), (-6, 1), (-2, 1), (-1, 2), (0, 3), (1, 4), (2, 5), (6, 5), (7, 6), (90, 6)]
)
def test_a_promise_is_measured_in_days(late: int, place: int) -> None:
    day = date(2026, 11, 5)
    ready = datetime(2026, 11, 5, 16, tzinfo=LONDON) + timedelta(days=late)

    assert [figure.bucket for figure in promise(day, ready, WEEKS)] == [place]


def test_no_promise_or_never_ready_is_no_figure() -> None:
    assert not promise(None, at(5), WEEKS)
    assert not promise(date(2026, 11, 5), None, WEEKS)


@pytest.mark.parametrize("text", ["=1+1", "+44", "-2", "@SUM(A1)", "\t=1", "\r=1"])
def test_a_cell_that_a_spreadsheet_would_reckon_with_is_made_plain_text(text: str) -> None:
    assert safe_cell(text) == f"'{text}"


def test_other_cells_stay_as_they_are() -> None:
    assert safe_cell("Board work") == "Board work"
    assert safe_cell("") == ""

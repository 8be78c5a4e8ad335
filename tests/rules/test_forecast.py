"""Ready windows: the product-limit estimate, open time, windows from the past, and how true they were."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from random import Random

import holidays
import numpy as np
import pytest
import scipy.stats as stats
from hypothesis import given
from hypothesis import strategies as st

from portal import resources
from portal.rules.backtest import binomial_band, interval_score, judged, pinball, promised, replay, trust
from portal.rules.forecast import (
    LEAST,
    Ahead,
    Course,
    Promise,
    Step,
    Thin,
    Window,
    course,
    ends,
    forecast,
    learn,
    put_right,
    seen_at,
    spells,
)
from portal.rules.open_time import OpenTime
from portal.rules.policy import Closed, Policy
from portal.rules.stages import Event
from portal.rules.survival import product_limit

POLICY = Policy.model_validate(tomllib.loads(resources.default_policy().read_text(encoding="utf-8")))
CALENDAR = OpenTime(POLICY, date(2025, 1, 1), date(2027, 12, 31))
STAGES = [stage.key for stage in POLICY.stages]
MONDAY = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
DAY = 8.5 * 3600  # open seconds of one of the default shop's days

# Freireich et al., Blood 21 (1963) 699–716: weeks of remission; True where it ended.
TREATED = [(6, True)] * 3 + [(6, False), (7, True), (9, False), (10, True), (10, False), (11, False), (13, True)]
TREATED += [(16, True), (17, False), (19, False), (20, False), (22, True), (23, True), (25, False)]
TREATED += [(32, False), (32, False), (34, False), (35, False)]
PLACEBO = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]


def test_the_product_limit_estimate_is_freireichs() -> None:
    curve = product_limit([weeks for weeks, _ in TREATED], [ended for _, ended in TREATED])

    assert curve.times.tolist() == [6, 7, 10, 13, 16, 22, 23]
    assert curve.longer.round(4).tolist() == [0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482]
    assert curve.remaining(0.5, 0.0) == 23  # the median; ignoring the censored would say 10
    assert curve.remaining(0.9, 0.0) is None  # it never falls so far


def test_without_censoring_it_is_the_share_that_lasted_longer() -> None:
    curve = product_limit(PLACEBO, [True] * len(PLACEBO))

    assert curve.at(8) == pytest.approx(0.3810, abs=5e-5)
    assert curve.at(23) == pytest.approx(0.0, abs=1e-12)
    assert curve.remaining(0.5, 0.0) == 8


@given(st.lists(st.tuples(st.integers(1, 30), st.booleans()), min_size=1, max_size=60))
def test_it_is_the_textbooks_product_over_those_at_risk(sample: list[tuple[int, bool]]) -> None:
    curve = product_limit([time for time, _ in sample], [ended for _, ended in sample])

    longer = 1.0
    for time in sorted({time for time, ended in sample if ended}):
        at_risk = sum(other >= time for other, _ in sample)
        longer *= 1 - sum(other == time and ended for other, ended in sample) / at_risk
        assert curve.at(time) == pytest.approx(longer, abs=1e-12)


@given(st.lists(st.floats(0.1, 1e6), min_size=5, max_size=50), st.floats(0, 1e5), st.floats(0.01, 0.99))
def test_what_remains_is_what_lasted_longer_than_the_time_already_spent(
    durations: list[float], spent: float, chance: float
) -> None:
    curve = product_limit(durations, [True] * len(durations))
    left = curve.remaining(chance, spent)

    alive = [each - spent for each in durations if each > spent]
    if not alive:
        assert left is None
    else:
        assert left is not None
        assert np.mean([each <= left + 1e-6 for each in alive]) >= chance - 1e-9


# Open time


@pytest.mark.parametrize(
    ("start", "end", "hours"),
    [
        ("2026-03-02T09:00+00:00", "2026-03-02T17:30+00:00", 8.5),
        ("2026-03-02T08:00+00:00", "2026-03-02T08:59+00:00", 0.0),
        ("2026-03-06T17:00+00:00", "2026-03-09T09:30+00:00", 1.0),  # over a weekend
        ("2026-03-27T17:00+00:00", "2026-03-30T08:30+00:00", 1.0),  # and a change of the clock: nine is 08:00Z
        ("2026-10-23T16:00+00:00", "2026-10-26T09:30+00:00", 1.0),  # and back: nine is 09:00Z again
    ],
)
def test_open_time_is_counted_by_the_shops_clock(start: str, end: str, hours: float) -> None:
    assert CALENDAR.between(datetime.fromisoformat(start), datetime.fromisoformat(end)) == hours * 3600


def test_whole_days_agree_with_numpys_working_days_and_the_library_of_holidays() -> None:
    name = POLICY.hours.public_holidays.partition("-")
    calendar = holidays.country_holidays(name[0], subdiv=name[2] or None, years=range(2026, 2028))
    first = date(2026, 1, 5)
    for days in range(1, 400, 13):
        end = first + timedelta(days=days)
        counted = CALENDAR.between(datetime(2026, 1, 5, tzinfo=UTC), datetime(end.year, end.month, end.day, tzinfo=UTC))
        assert counted == np.busday_count(first, end, holidays=sorted(calendar)) * DAY


moments = st.datetimes(datetime(2025, 2, 1), datetime(2027, 6, 1), timezones=st.just(UTC))  # noqa: DTZ001


@given(moments, st.floats(0, 60 * DAY))
def test_counting_on_and_counting_back_agree(start: datetime, seconds: float) -> None:
    assert CALENDAR.between(start, CALENDAR.after(start, seconds)) == pytest.approx(seconds, abs=1e-3)


def test_a_shop_without_hours_counts_every_second() -> None:
    always = OpenTime(POLICY.model_copy(update={"hours": type(POLICY.hours)()}), date(2026, 3, 1), date(2026, 3, 9))

    assert always.between(MONDAY, MONDAY + timedelta(days=2)) == 2 * 86400


# Courses


def events(*happened: tuple[int, str, dict[str, str]]) -> list[tuple[datetime, Event]]:
    return [(MONDAY + timedelta(days=day), Event(name, data)) for day, name, data in happened]


def test_a_course_follows_stages_and_holds() -> None:
    way = course(
        "console",
        events(
            (0, "arrived", {"stage": "received"}),
            (1, "moved", {"stage": "board_work"}),
            (2, "held", {"hold": "part"}),
            (4, "released", {}),
            (5, "moved", {"stage": "ready"}),
            (9, "ended", {"ending": "collected"}),
        ),
        STAGES,
    )

    assert way is not None
    assert [step.state for step in way.steps] == ["received", "board_work", "board_work part", "board_work", "ready"]
    assert (way.ready_at, way.ended_at) == (MONDAY + timedelta(days=5), MONDAY + timedelta(days=9))


def test_what_never_came_or_is_known_by_its_ends_only_has_no_course() -> None:
    assert course("console", events((0, "announced", {})), STAGES) is None
    assert (
        course("console", events((0, "taken_over", {"known": "ends"}), (0, "arrived", {"stage": "x"})), STAGES) is None
    )


@pytest.mark.parametrize(
    ("last", "ending", "ready"),
    [
        ("to_collect", "collected", True),  # as the last stage was called then
        ("to_collect", "returned unrepaired", False),
        ("board_work", "collected", False),  # of an earlier list, where nothing says when it was ready
    ],
)
def test_what_was_handed_over_from_a_stage_that_is_no_more_was_ready_there(last: str, ending: str, ready: bool) -> None:
    happened = events(
        (0, "arrived", {"stage": "received"}), (4, "moved", {"stage": last}), (9, "ended", {"ending": ending})
    )

    way = course("console", happened, STAGES)

    assert way is not None
    assert way.ready_at == (MONDAY + timedelta(days=4) if ready else None)


def simple(arrived: datetime, took: float, *, open_days: int = 0, kind: str = "console") -> Course:
    """A device that came and was ready after so many open seconds."""
    ready = CALENDAR.after(arrived, took)
    return Course(kind, (Step(arrived, "received"), Step(ready, "ready")), ready, ready + timedelta(days=open_days))


def shop(seed: int, many: int = 300, slower_after: float = 1.0) -> list[Course]:
    """A shop of a known law: log-normal open time, five of a hundred given up."""
    random = Random(seed)
    made = []
    for each in range(many):
        arrived = CALENDAR.after(datetime(2025, 3, 3, 9, tzinfo=UTC), each * DAY * 250 / many)
        took = random.lognormvariate(np.log(4 * DAY), 0.6) * (slower_after if each > many / 2 else 1)
        if random.random() < 0.05:
            made.append(Course("console", (Step(arrived, "received"),), None, CALENDAR.after(arrived, took)))
        else:
            made.append(simple(arrived, took))
    return made


def test_a_window_lies_where_the_past_says() -> None:
    past = learn(spells(shop(1), MONDAY, CALENDAR))

    window = forecast(past, Step(MONDAY, "received"), "console", MONDAY, CALENDAR)

    assert isinstance(window, Window)
    assert window.first <= window.median <= window.last
    # The law itself: 4 days times e^(±1.28 × 0.6) open days, the tenth and ninetieth of a hundred.
    low, high = (CALENDAR.after(MONDAY, 4 * DAY * float(np.exp(each * 1.2816 * 0.6))).date() for each in (-1, 1))
    assert abs((window.first - low).days) <= 2
    assert abs((window.last - high).days) <= 4


def test_a_width_put_right_is_the_one_that_is_told() -> None:
    past = learn(spells(shop(1), MONDAY, CALENDAR))
    plain = forecast(past, Step(MONDAY, "received"), "console", MONDAY, CALENDAR)
    past.came_out = [each / 200 for each in (*range(60), *range(140, 200))]  # little came where most was expected

    wider = forecast(past, Step(MONDAY, "received"), "console", MONDAY, CALENDAR)

    assert isinstance(plain, Window)
    assert isinstance(wider, Window)
    assert (wider.last - wider.first) > (plain.last - plain.first)
    assert wider.chance == 0.8


def test_time_already_spent_moves_the_window_on() -> None:
    past = learn(spells(shop(1), MONDAY, CALENDAR))
    early = forecast(past, Step(MONDAY, "received"), "console", MONDAY, CALENDAR)
    later = forecast(past, Step(MONDAY, "received"), "console", MONDAY + timedelta(days=7), CALENDAR)

    assert isinstance(early, Window)
    assert isinstance(later, Window)
    assert later.first >= (MONDAY + timedelta(days=7)).date()
    assert later.median > early.median


@pytest.mark.parametrize("many", [0, 1, LEAST - 1])
def test_too_thin_a_past_says_so(many: int) -> None:
    past = learn(spells([simple(MONDAY - timedelta(days=60), DAY) for _ in range(many)], MONDAY, CALENDAR))

    assert forecast(past, Step(MONDAY, "received"), "console", MONDAY, CALENDAR) == Thin(many)


def test_a_shop_whose_every_device_was_given_up_says_nothing() -> None:
    gone = [Course("x", (Step(MONDAY, "received"),), None, MONDAY + timedelta(days=3)) for _ in range(50)]
    now = MONDAY + timedelta(days=30)

    past = learn(spells(gone, now, CALENDAR))

    assert isinstance(forecast(past, Step(now, "received"), "x", now, CALENDAR), Thin)


def test_of_what_outlasted_everything_the_past_says_nothing() -> None:
    past = learn(spells([simple(MONDAY - timedelta(days=90 + each), DAY) for each in range(30)], MONDAY, CALENDAR))

    now = MONDAY + timedelta(days=60)
    assert forecast(past, Step(MONDAY, "received"), "console", now, CALENDAR) == Thin(30)


def test_a_stage_that_the_past_does_not_know_says_nothing_and_a_hold_falls_back_on_its_stage() -> None:
    past = learn(spells(shop(1), MONDAY, CALENDAR))

    assert isinstance(forecast(past, Step(MONDAY, "polishing"), "console", MONDAY, CALENDAR), Thin)
    assert isinstance(forecast(past, Step(MONDAY, "received", "part"), "console", MONDAY, CALENDAR), Window)


# Backtest


@pytest.mark.parametrize(("came", "score"), [(5, 4), (1, 14), (8, 24)])
def test_the_interval_score_is_the_width_and_ten_times_the_miss(came: float, score: float) -> None:
    # Gneiting and Raftery (2007) section 6.2, with alpha 0.2.
    assert interval_score((2, 6), came, 0.8) == pytest.approx(score)


def test_the_pinball_loss_punishes_by_side() -> None:
    assert (pinball(10, 14, 0.9), pinball(14, 10, 0.9)) == (pytest.approx(3.6), pytest.approx(0.4))


def test_a_hundred_forecasts_of_eighty_hold_seventy_two_to_eighty_eight_times() -> None:
    low, high = binomial_band(0.8, 100)

    assert (round(low * 100), round(high * 100)) == (72, 88)


def test_what_puts_the_width_right_is_the_rank_of_split_conformal_prediction() -> None:
    # Rank ceil((n + 1) × 0.8): of nine the eighth smallest; below the middle the second, from the other side.
    tenths = [each / 10 for each in range(1, 10)]
    assert put_right(0.8, tenths) == 0.8
    assert put_right(0.2, tenths) == 0.2
    assert put_right(0.8, [0.5]) == 1.0  # too few to hold so often
    assert put_right(0.2, [0.5]) == 0.0
    assert put_right(0.8, []) == 0.8


@given(st.lists(st.floats(0, 1), min_size=10, max_size=200).map(sorted), st.sampled_from([0.1, 0.25, 0.75, 0.9]))
def test_put_right_errs_on_the_wide_side_only(came_out: list[float], point: float) -> None:
    edge = put_right(point, came_out)

    within = sum(each <= edge for each in came_out) if point > 0.5 else sum(each >= edge for each in came_out)
    assert within / len(came_out) >= min((len(came_out) + 1) * max(point, 1 - point) / len(came_out), 1) - 1e-9


def ahead(stay: list[float], rest: list[float]) -> Ahead:
    """What lies ahead of a state, from lengths that are all known."""
    return Ahead(product_limit(stay, [True] * len(stay)), product_limit(rest, [True] * len(rest)))


def test_what_came_is_seen_at_its_place() -> None:
    lengths = np.arange(1.0, 101.0)

    assert seen_at(lengths, 50.5) == 0.5
    assert seen_at(lengths, 0.5) == 0.0
    assert seen_at(lengths, 200) == 1.0


def test_what_remains_is_the_rest_of_the_stay_and_the_rest_of_the_way() -> None:
    lengths = ahead([10.0] * 30, [5.0] * 30).remaining(4.0)

    assert set(lengths.tolist()) == {11.0}
    assert ahead([10.0] * 30, [5.0] * 30).remaining(10.0).size == 0  # none stayed so long


def test_whoever_is_still_in_a_state_has_the_whole_way_after_it_to_go() -> None:
    """Conditioning on the stay alone: to have stayed long makes the rest of the way no shorter."""
    random = np.random.default_rng(7)
    found = ahead(random.exponential(10, 4000).tolist(), random.exponential(30, 4000).tolist())

    # An exponential stay forgets what was spent, so that the mean stays 10 + 30.
    for spent in (0.0, 10.0, 30.0):
        assert np.mean(found.remaining(spent)) == pytest.approx(40, rel=0.1)


def test_the_sum_of_stay_and_way_is_that_of_a_million_direct_draws() -> None:
    random = np.random.default_rng(11)
    stay, rest = stats.lognorm(0.6, scale=10), stats.gamma(2.0, scale=8)
    grid = (np.arange(4000) + 0.5) / 4000
    lengths = ahead(stay.ppf(grid).tolist(), rest.ppf(grid).tolist()).remaining(12.0)

    longer = stay.ppf(random.uniform(stay.cdf(12.0), 1.0, 1_000_000)) - 12.0
    drawn = np.sort(longer + rest.rvs(1_000_000, random_state=random))

    for point in (0.1, 0.25, 0.5, 0.75, 0.9):
        # 64 lengths stand for each curve: within half a hundredth of the chance, and the error of the draws.
        reached = np.searchsorted(drawn, lengths[int(point * lengths.size)]) / drawn.size
        assert reached == pytest.approx(point, abs=0.008)


@given(st.floats(0, 120), st.lists(st.floats(0, 1), max_size=60).map(sorted), st.sampled_from([0.5, 0.8]))
def test_a_windows_ends_lie_about_its_middle(spent: float, came_out: list[float], chance: float) -> None:
    lengths = ahead([float(each) for each in range(1, 100)], [3.0, 40.0]).remaining(spent)

    if lengths.size == 0:
        assert spent >= 99
    else:
        low, middle, high = ends(lengths, chance, came_out)
        assert 0 <= low <= middle <= high


@given(
    st.lists(st.tuples(st.floats(0.1, 50), st.booleans()), min_size=1, max_size=80).filter(
        lambda s: any(e for _, e in s)
    )
)
def test_the_estimate_is_that_of_a_library_of_statistics(sample: list[tuple[float, bool]]) -> None:
    times, ended = [time for time, _ in sample], [event for _, event in sample]
    known = stats.CensoredData.right_censored(times, [not event for event in ended])

    curve = product_limit(times, ended)
    theirs = stats.ecdf(known).sf

    for time in times:
        assert curve.at(time) == pytest.approx(float(theirs.evaluate(time)), abs=1e-12)


@pytest.mark.parametrize("slower", [1.0, 1.5], ids=["a steady shop", "a shop that slows down in mid-year"])
def test_windows_hold_as_often_as_they_say_on_shops_of_a_known_law(slower: float) -> None:
    cases = [case for seed in range(6) for case in replay(shop(seed, 300, slower), CALENDAR, 8 * DAY)]
    told = {(verdict.method, verdict.chance): verdict for verdict in judged(cases)}

    own = told["shop", 0.8]
    assert own.cases >= 1000
    assert own.coverage == pytest.approx(0.8, abs=0.04)
    assert own.interval_score <= min(told[rival, 0.8].interval_score for rival in ("usual", "mean and spread"))


def test_a_forecast_knows_nothing_of_what_came_later() -> None:
    before = shop(3, 200)
    changed = [*before[:150], *(simple(each.steps[0].at, 40 * DAY) for each in before[150:])]
    until = before[150].steps[0].at

    def early(courses: list[Course]) -> list[tuple[float, float]]:
        known = {each.ready_at for each in before[:150]}
        same = [each for each in courses if each.ready_at in known]
        return [case.window for case in replay(same, CALENDAR, DAY) if case.method == "shop"]

    assert until
    assert early(before) == early(changed)


def test_a_promise_is_judged_like_the_rest_as_a_window_until_its_day_is_over() -> None:
    kept, broken = simple(MONDAY, 3 * DAY), simple(MONDAY, 9 * DAY)
    word = Promise(MONDAY + timedelta(hours=1), date(2026, 3, 6))
    cases = promised([replace(kept, promises=(word,)), replace(broken, promises=(word,)), kept], CALENDAR)

    (verdict,) = judged(cases)

    assert (verdict.method, verdict.cases, verdict.coverage) == ("by hand", 2, 0.5)
    assert verdict.width == 5 * DAY - 3600  # from then until Friday evening


def test_what_was_promised_after_it_was_ready_is_no_promise() -> None:
    done = simple(MONDAY, DAY)

    assert promised([replace(done, promises=(Promise(MONDAY + timedelta(days=3), date(2026, 3, 9)),))], CALENDAR) == []


def test_trust_comes_from_the_devices_that_were_ready_lately() -> None:
    now = datetime(2026, 6, 1, tzinfo=UTC)

    steady, nothing = trust(shop(5, 400), CALENDAR, now), trust([], CALENDAR, now)

    assert steady.held
    assert 0.7 <= steady.coverage <= 0.9
    assert len(steady.came_out) == 150
    assert (nothing.cases, nothing.held, nothing.came_out) == (0, False, [])


# Pasts that are not as one would wish


def test_a_stage_that_was_renamed_or_removed_keeps_its_past_and_the_new_one_begins_without() -> None:
    last_week = MONDAY - timedelta(days=7)
    old = [way for way in shop(1) if way.ready_at and way.ready_at < last_week]
    renamed = [replace(way, steps=(replace(way.steps[0], stage="looked_over"), *way.steps[1:])) for way in old[-5:]]

    past = learn(spells([*old, *renamed], MONDAY, CALENDAR))

    assert isinstance(forecast(past, Step(MONDAY, "received"), "console", MONDAY, CALENDAR), Window)
    assert forecast(past, Step(MONDAY, "looked_over"), "console", MONDAY, CALENDAR) == Thin(5)


@pytest.mark.parametrize("seed", range(3))
def test_impossible_dates_say_nothing_and_break_nothing(seed: int) -> None:
    random = Random(seed)
    torn = [
        Course("console", (Step(MONDAY, "received"), Step(MONDAY - timedelta(days=9), "ready")), MONDAY, MONDAY),
        Course("console", (Step(datetime(1970, 1, 1, tzinfo=UTC), "received"),), None, None),
        Course("console", (Step(datetime(2190, 1, 1, tzinfo=UTC), "received"),), None, None),
        Course("console", (Step(MONDAY, "received"),), None, MONDAY - timedelta(days=400)),
        Course("console", (Step(MONDAY, "received"),), MONDAY - timedelta(days=400), None),
    ]
    whole = shop(seed)
    mixed = [*whole, *torn * 3]
    random.shuffle(mixed)

    plain = forecast(learn(spells(whole, MONDAY, CALENDAR)), Step(MONDAY, "received"), "", MONDAY, CALENDAR)
    told = forecast(learn(spells(mixed, MONDAY, CALENDAR)), Step(MONDAY, "received"), "", MONDAY, CALENDAR)

    assert isinstance(plain, Window)
    assert isinstance(told, Window)
    assert abs((told.last - plain.last).days) <= 3
    replay(mixed, CALENDAR, DAY)
    trust(mixed, CALENDAR, MONDAY)


def test_three_weeks_closed_lie_between_the_days_of_a_window() -> None:
    closed = Closed(first=date(2026, 3, 5), last=date(2026, 3, 25))
    policy = POLICY.model_copy(update={"hours": POLICY.hours.model_copy(update={"closed": [closed]})})
    calendar = OpenTime(policy, date(2025, 1, 1), date(2027, 12, 31))
    past = learn(spells(shop(1), MONDAY, CALENDAR))

    usual = forecast(past, Step(MONDAY, "received"), "console", MONDAY, CALENDAR)
    told = forecast(past, Step(MONDAY, "received"), "console", MONDAY, calendar)

    assert isinstance(usual, Window)
    assert isinstance(told, Window)
    assert told.first == usual.first  # before
    assert told.last == usual.last + timedelta(days=21)
    assert not closed.first <= told.median <= closed.last


@pytest.mark.parametrize("change", [datetime(2026, 3, 27, 9, tzinfo=UTC), datetime(2026, 10, 23, 8, tzinfo=UTC)])
def test_a_change_of_the_clocks_moves_no_window(change: datetime) -> None:
    """Both Fridays at nine by the shop's clock, the clocks change on Sunday."""
    past = learn(spells(shop(1), MONDAY, CALENDAR))
    before = change - timedelta(days=14)

    told = forecast(past, Step(change, "received"), "console", change, CALENDAR)
    two_weeks_earlier = forecast(past, Step(before, "received"), "console", before, CALENDAR)

    assert isinstance(told, Window)
    assert isinstance(two_weeks_earlier, Window)
    assert told.first - two_weeks_earlier.first == timedelta(days=14)

"""Requests about personal data: their clocks, by the articles of the GDPR that set them."""

from __future__ import annotations

from datetime import date, timedelta

import holidays
import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.refusals import Refused, Unfit
from portal.rules.rights import (
    BY_STAFF,
    REMEDIES,
    Law,
    Request,
    Right,
    State,
    Through,
    due,
    due_soon,
    extend,
    go_on,
    law_of,
    right,
    settle,
    stop,
    through,
)

ENGLAND = holidays.country_holidays("GB", subdiv="ENG").__contains__
GERMANY = holidays.country_holidays("DE").__contains__
DAYS = st.dates(date(2026, 1, 1), date(2033, 12, 31))


def no_holiday(_day: date) -> bool:
    return False


def asked(received: date, kind: Right = Right.ACCESS) -> Request:
    return Request(kind, received)


@pytest.mark.parametrize(
    ("received", "last"),
    [
        # The ICO's own example, from the day of receipt; 3 October 2026 is a Saturday, so on to the Monday.
        (date(2023, 9, 3), date(2023, 10, 3)),
        (date(2026, 9, 3), date(2026, 10, 5)),
        # EDPB Guidelines 01/2022, section 5.3 (from memory).
        (date(2024, 3, 5), date(2024, 4, 5)),
        (date(2023, 8, 31), date(2023, 10, 2)),  # 30 September 2023 is a Saturday
        (date(2022, 8, 31), date(2022, 9, 30)),
    ],
)
def test_one_month_from_the_day_of_receipt_as_the_authorities_count(received: date, last: date) -> None:
    """Art. 12(3) GDPR; Reg. (EEC, Euratom) 1182/71 Art. 3(2)(c) and 3(4)."""
    assert due(asked(received), ENGLAND) == last


@pytest.mark.parametrize(
    ("received", "england", "germany"),
    [
        (date(2026, 1, 31), date(2026, 3, 2), date(2026, 3, 2)),
        (date(2026, 3, 3), date(2026, 4, 7), date(2026, 4, 7)),
        (date(2026, 3, 31), date(2026, 4, 30), date(2026, 4, 30)),
        (date(2026, 9, 3), date(2026, 10, 5), date(2026, 10, 5)),
        (date(2026, 11, 25), date(2026, 12, 29), date(2026, 12, 28)),
        (date(2028, 1, 31), date(2028, 2, 29), date(2028, 2, 29)),
        (date(2026, 4, 1), date(2026, 5, 1), date(2026, 5, 4)),
    ],
)
def test_the_holidays_are_those_where_the_shop_is(received: date, england: date, germany: date) -> None:
    assert due(asked(received), ENGLAND) == england
    assert due(asked(received), GERMANY) == germany


@pytest.mark.parametrize(
    ("received", "last"), [(date(2026, 1, 31), date(2026, 4, 30)), (date(2028, 1, 31), date(2028, 5, 2))]
)
def test_extended_it_is_three_months_from_the_day_of_receipt(received: date, last: date) -> None:
    """Art. 12(3), second sentence: two further months."""
    extended = extend(asked(received), received + timedelta(days=10), ENGLAND)

    assert due(extended, ENGLAND) == last


def test_an_extension_is_told_within_the_first_month_on_its_last_day_too() -> None:
    """Art. 12(3), third sentence."""
    request = asked(date(2026, 1, 31))

    assert extend(request, date(2026, 3, 2), ENGLAND).extended_on == date(2026, 3, 2)
    with pytest.raises(Refused, match="first month is over"):
        extend(request, date(2026, 3, 3), ENGLAND)


def test_there_is_no_second_extension() -> None:
    once = extend(asked(date(2026, 3, 3)), date(2026, 3, 4), ENGLAND)

    with pytest.raises(Refused, match="no second time"):
        extend(once, date(2026, 3, 5), ENGLAND)


def test_british_law_lets_the_clock_stand_still_and_adds_the_days() -> None:
    """UK GDPR Art. 12A, inserted by the Data (Use and Access) Act 2025 section 76."""
    request = stop(asked(date(2026, 3, 10)), Law.UK, date(2026, 3, 12))
    assert due(request, ENGLAND) is None

    request = go_on(request, date(2026, 3, 19))

    assert request.paused_days == 7
    assert due(request, ENGLAND) == date(2026, 4, 17)  # 10 April and a week


def test_the_law_of_the_union_does_not() -> None:
    with pytest.raises(Refused, match="United Kingdom law only"):
        stop(asked(date(2026, 3, 10)), Law.EU, date(2026, 3, 12))


def test_while_the_clock_stands_the_first_month_does_not_run_out() -> None:
    stopped = stop(asked(date(2026, 3, 10)), Law.UK, date(2026, 3, 12))

    assert extend(stopped, date(2026, 6, 1), ENGLAND).extended_on == date(2026, 6, 1)


@pytest.mark.parametrize(
    ("chosen", "country", "law"),
    [("", "GB", Law.UK), ("", "DE", Law.EU), ("eu", "GB", Law.EU), ("uk", "IE", Law.UK)],
)
def test_the_law_is_the_policys_or_goes_by_the_country(chosen: str, country: str, law: Law) -> None:
    assert law_of(chosen, country) is law


def test_the_keeper_hears_a_week_ahead_and_while_it_is_late() -> None:
    request = asked(date(2026, 3, 3))  # due on 7 April

    assert [due_soon(request, date(2026, 3, 30) + timedelta(days=more), ENGLAND) for more in (0, 1, 20)] == [
        False,
        True,
        True,
    ]
    assert not due_soon(settle(request, State.DONE), date(2026, 4, 20), ENGLAND)
    assert not due_soon(stop(request, Law.UK, date(2026, 3, 4)), date(2026, 4, 20), ENGLAND)


@pytest.mark.parametrize("state", [State.DONE, State.REFUSED])
def test_what_is_settled_stays_settled(state: State) -> None:
    settled = settle(asked(date(2026, 3, 3)), state)

    for again in (
        lambda: settle(settled, State.DONE),
        lambda: extend(settled, date(2026, 3, 4), ENGLAND),
        lambda: stop(settled, Law.UK, date(2026, 3, 4)),
        lambda: go_on(settled, date(2026, 3, 4)),
    ):
        with pytest.raises(Refused, match="settled already"):
            again()


def test_who_is_refused_hears_of_the_authority_and_the_court() -> None:
    """Art. 12(4), 77 and 79 GDPR."""
    assert "data protection authority" in str(REMEDIES)
    assert "court" in str(REMEDIES)


def test_what_a_form_sends_is_a_right_and_a_way_or_nothing() -> None:
    assert right("erasure") is Right.ERASURE
    with pytest.raises(Unfit):
        right("everything")
    for by_person in (True, False):
        with pytest.raises(Unfit):
            through("pigeon", by_person=by_person)


def test_only_the_person_enters_a_request_on_their_page() -> None:
    assert through("page", by_person=True) is Through.PAGE
    with pytest.raises(Unfit):
        through("page", by_person=False)
    for way in BY_STAFF:
        assert through(way, by_person=False) is way
    assert {*BY_STAFF, Through.PAGE} == set(Through)


@given(DAYS)
def test_an_answer_is_never_due_on_a_day_off_nor_before_a_full_month(received: date) -> None:
    last = due(asked(received), ENGLAND)

    assert last is not None
    assert last.weekday() < 5
    assert not ENGLAND(last)
    assert 28 <= (last - received).days <= 31 + 5  # at most Good Friday to Easter Monday beyond the month


@given(DAYS, st.integers(0, 200), st.integers(0, 60))
def test_a_pause_never_shortens_the_time_and_adds_just_its_days(received: date, after: int, pause: int) -> None:
    begins = received + timedelta(days=after)
    paused = go_on(stop(asked(received), Law.UK, begins), begins + timedelta(days=pause))
    plain, later = due(asked(received), no_holiday), due(paused, no_holiday)

    assert plain is not None
    assert later is not None
    assert pause - 2 <= (later - plain).days <= pause + 2  # a weekend at either end

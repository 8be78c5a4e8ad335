"""A cancellation that came after work began: what it may cover, and what is owed for what was done by then.

Directive 2011/83/EU Art. 13(1), 14(3), 14(4)(a), 16(a); SI 2013/3134 reg. 34 and 36.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.account import Charge, in_part
from portal.rules.cancelled import (
    Agreed,
    Declaration,
    How,
    consequence,
    declaration,
    foretold,
    mark_of,
    must_be_open,
    owed_percent,
    refund_by,
    settlement,
    undecided,
)
from portal.rules.money import NOTHING, Price, Rounding, split
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say

UNTIL = date(2026, 3, 16)
EARLY = Agreed("Q1", say("Replace the port"), UNTIL, early=True, begun=True)
SENT = Declaration(date(2026, 3, 10), date(2026, 3, 12), How.LETTER, "Ada, in the folder")


def test_nothing_is_owed_by_whoever_had_not_asked_to_begin_early() -> None:
    assert owed_percent(replace(EARLY, early=False), SENT, "60") == 0


def test_nothing_is_owed_for_what_was_not_begun() -> None:
    assert owed_percent(replace(EARLY, begun=False), SENT, "") == 0


@pytest.mark.parametrize(("typed", "percent"), [("0", 0), ("40", 40), (" 40 % ", 40), ("99", 99)])
def test_else_as_much_is_owed_as_was_done(typed: str, percent: int) -> None:
    assert owed_percent(EARLY, SENT, typed) == percent


@pytest.mark.parametrize("typed", ["", "half", "-1", "101", "40.5", "1000", "４０"])
def test_how_much_was_done_is_a_whole_number(typed: str) -> None:
    with pytest.raises(Unfit) as why:
        owed_percent(EARLY, SENT, typed)
    assert why.value.field == "part-Q1"


def test_what_was_done_as_a_whole_on_request_can_no_longer_be_cancelled() -> None:
    with pytest.raises(Unfit, match="can no longer be cancelled"):
        owed_percent(EARLY, SENT, "100")


def test_what_was_sent_in_time_is_in_time_whenever_it_comes() -> None:
    assert owed_percent(EARLY, replace(SENT, sent_on=UNTIL, heard_on=UNTIL + timedelta(days=5)), "40") == 40
    with pytest.raises(Refused, match="could be cancelled until 2026-03-16"):
        owed_percent(EARLY, replace(SENT, sent_on=UNTIL + timedelta(days=1)), "40")


def test_what_was_agreed_over_the_counter_is_not_cancelled() -> None:
    with pytest.raises(Refused, match="not agreed at a distance"):
        owed_percent(replace(EARLY, until=None), SENT, "")


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (("2026-02-28", "", "letter", "Ada"), "sent_on"),
        (("2026-03-13", "", "letter", "Ada"), "sent_on"),
        (("soon", "", "letter", "Ada"), "sent_on"),
        (("2026-03-10", "2026-03-09", "letter", "Ada"), "heard_on"),
        (("2026-03-10", "", "", "Ada"), "how"),
        (("2026-03-10", "", "fax", "Ada"), "how"),
        (("2026-03-10", "", "letter", " "), "words"),
    ],
)
def test_a_declaration_that_does_not_fit_names_its_field(typed: tuple[str, ...], field: str) -> None:
    with pytest.raises(Unfit) as why:
        declaration(*typed, earliest=date(2026, 3, 2), today=date(2026, 3, 12))
    assert why.value.field == field


def test_no_days_mean_today() -> None:
    today = date(2026, 3, 12)

    found = declaration("", "", "telephone", "Ada to Kim", earliest=date(2026, 3, 2), today=today)

    assert (found.sent_on, found.heard_on) == (today, today)


def test_the_day_on_which_the_shop_heard_does_not_count() -> None:
    assert refund_by(date(2026, 3, 12), 14) == date(2026, 3, 26)


def whole(*rates: tuple[str | None, int], with_tax: bool = True) -> Charge:
    by_rate = {
        None if rate is None else Decimal(rate): split(gross, rate and Decimal(rate), True) for rate, gross in rates
    }
    amounts = sum(by_rate.values(), NOTHING)
    return Charge("Q1", "extra", "Replace the port", [], amounts, by_rate, "GBP", with_tax, Rounding.PER_LINE)


def test_a_part_is_reckoned_of_each_rate_half_up() -> None:
    part = in_part(whole(("20", 4851), ("5", 101)), 50)

    assert {rate: each.gross for rate, each in part.by_rate.items()} == {Decimal(20): 2426, Decimal(5): 51}
    assert part.amounts.gross == 2477


@given(
    st.lists(st.integers(1, 10**6), min_size=1, max_size=3),
    st.integers(0, 100),
    st.booleans(),
)
def test_a_part_is_never_more_than_the_whole_and_its_sums_hold(
    grosses: list[int], percent: int, with_tax: bool
) -> None:
    rates = [None, "7.7", "20"]
    charge = whole(*zip(rates, grosses, strict=False), with_tax=with_tax)

    part = in_part(charge, percent)

    assert part.amounts.gross <= charge.amounts.gross
    assert abs(part.amounts.gross * 100 - charge.amounts.gross * percent) <= 50 * len(grosses)
    assert part.amounts.net + part.amounts.tax == part.amounts.gross
    assert sum(line.amount_minor for line in part.lines) == (part.amounts.gross if with_tax else part.amounts.net)


def test_what_follows_is_said_before_it_is_entered_and_named_by_a_mark() -> None:
    whole_price, owed = Price(4850, "GBP"), Price(1940, "GBP")

    told = consequence(EARLY, 40, whole_price, owed)

    assert "19.40 GBP are owed for the 40 %" in str(told)
    assert "had not asked you to begin" in str(consequence(replace(EARLY, early=False), 0, whole_price, owed))
    assert "holds no longer" in str(consequence(EARLY, 0, None, None))
    assert mark_of([told]) != mark_of([consequence(EARLY, 41, whole_price, owed)])


@pytest.mark.parametrize(
    ("still_open", "credit", "told"),
    [
        (0, 2910, "29.10 GBP go back to them by 2026-03-26"),
        (1940, 0, "19.40 GBP are still to be paid"),
        (0, 0, "nothing goes back"),
    ],
)
def test_the_whole_repair_is_settled_in_one_sentence(still_open: int, credit: int, told: str) -> None:
    assert told in str(settlement(Price(still_open, "GBP"), Price(credit, "GBP"), date(2026, 3, 26)))


@pytest.mark.parametrize(
    ("agreed", "says"),
    [
        (EARLY, "So you pay the part that was done by now"),
        (replace(EARLY, begun=False), "the work on it has not begun"),
        (replace(EARLY, early=False), "You pay nothing for it. It holds no longer"),
        (replace(EARLY, ref="start", begun=False), "You pay nothing for it. It holds no longer"),
    ],
)
def test_what_follows_is_read_before_the_press(agreed: Agreed, says: str) -> None:
    assert says in str(foretold(agreed))


def test_it_can_be_pressed_to_the_last_day_and_once() -> None:
    must_be_open(EARLY, UNTIL)

    with pytest.raises(Refused, match="could cancel this until"):
        must_be_open(EARLY, UNTIL + timedelta(days=1))
    with pytest.raises(Refused, match="already"):
        must_be_open(replace(EARLY, declared_on=UNTIL), UNTIL)


@pytest.mark.parametrize("field", ["sent_on", "heard_on"])
def test_what_was_pressed_was_heard_of_then(field: str) -> None:
    pressed = replace(EARLY, declared_on=date(2026, 3, 10))
    that_day = replace(SENT, sent_on=date(2026, 3, 10), heard_on=date(2026, 3, 10))
    assert owed_percent(pressed, that_day, "40") == 40

    with pytest.raises(Unfit) as why:
        owed_percent(pressed, replace(that_day, **{field: date(2026, 3, 11)}), "40")
    assert why.value.field == field


EVENTS = st.tuples(
    st.sampled_from(["cancel_declared", "cancelled", "cancel_overruled", "cancellation_taken_back", "noted"]),
    st.sampled_from("AB"),
)


@given(st.lists(EVENTS, max_size=8))
def test_what_was_pressed_awaits_its_part_until_that_is_entered_or_taken_back(told: list[tuple[str, str]]) -> None:
    found = undecided((event, {"question": ref}) for event, ref in told)

    for ref in "AB":
        last = [event for event, each in told if each == ref and event != "noted"][-1:]
        assert (ref in found) == (last == ["cancel_declared"])

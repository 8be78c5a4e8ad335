"""The tray: what comes out of a device goes back, is replaced, or goes to its owner, and the counts meet."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.refusals import Refused, Unfit
from portal.rules.tray import MOST_LINES, End, NewLine, TrayLine, end, open_lines, recount, settled, strike, take_out

SCREWS = TrayLine(1, "case screws", 8)


def test_lines_are_numbered_within_their_tray() -> None:
    first = take_out(NewLine(" case   screws ", "8"), [])
    second = take_out(NewLine("fan"), [first])

    assert (first.line, first.what, first.count) == (1, "case screws", 8)
    assert (second.line, second.count) == (2, 1)


@pytest.mark.parametrize(
    "count", ["0", "-1", "1000", "3.5", "3,5", "many", "", "1e2", "²", "٣", "99999999999999999999"]
)
def test_an_absurd_count_is_refused_at_its_field(count: str) -> None:
    with pytest.raises(Unfit) as refused:
        take_out(NewLine("screws", count), [])

    assert refused.value.field == "count"


def test_a_line_says_what_was_taken_out() -> None:
    with pytest.raises(Unfit, match="What was taken out is missing"):
        take_out(NewLine("  "), [])


def test_a_tray_takes_five_hundred_lines_and_says_when_it_is_full() -> None:
    full = [TrayLine(line, "screw", 1) for line in range(1, MOST_LINES + 1)]

    assert take_out(NewLine("screw"), full[:-1]).line == MOST_LINES
    with pytest.raises(Refused, match="500 lines already"):
        take_out(NewLine("screw"), full)


def test_a_line_may_end_in_different_ways() -> None:
    seven_back = end(SCREWS, End.PUT_BACK, 7)
    done = end(seven_back, End.REPLACED, "1", "M2 × 6 screw")

    assert seven_back.left == 1
    assert not settled([seven_back])
    assert (done.put_back, done.replaced, done.replaced_by, done.left) == (7, 1, "M2 × 6 screw", 0)
    assert settled([done])


def test_ending_a_line_without_a_count_ends_all_that_is_left() -> None:
    assert end(end(SCREWS, End.PUT_BACK, 3), End.HANDED_OVER).handed_over == 5


def test_no_more_ends_than_lies_in_the_tray() -> None:
    with pytest.raises(Unfit, match="Only 8 of “case screws” lie in the tray, not 9"):
        end(SCREWS, End.PUT_BACK, 9)
    with pytest.raises(Refused, match="Nothing of “case screws” is left"):
        end(end(SCREWS, End.PUT_BACK), End.PUT_BACK)


def test_what_is_replaced_names_its_part() -> None:
    with pytest.raises(Unfit, match="The part that replaces it is missing"):
        end(SCREWS, End.REPLACED, 1)


def test_an_unknown_end_is_refused_with_those_there_are() -> None:
    with pytest.raises(Unfit, match="Allowed: put back, replaced, handed to the customer"):
        end(SCREWS, "lost")


def test_one_line_for_the_whole_mat_is_enough() -> None:
    mat = take_out(NewLine("all on the mat, photo taken", "", counted=False), [])

    assert not settled([mat])
    assert settled([end(mat, End.PUT_BACK)])


def test_the_shops_own_spares_keep_no_device_here() -> None:
    assert settled([take_out(NewLine("spare screws", 3, whose="shop"), [])])
    with pytest.raises(Unfit):
        take_out(NewLine("spare screws", 3, whose="nobody"), [])


def test_a_miscount_is_put_right_with_a_reason_and_not_below_what_has_ended() -> None:
    seven_back = end(SCREWS, End.PUT_BACK, 7)

    assert recount(seven_back, 7, "There were seven.").left == 0
    with pytest.raises(Unfit, match="The reason is missing"):
        recount(seven_back, 7, "")
    with pytest.raises(Unfit, match="7 of “case screws” have ended already"):
        recount(seven_back, 6, "There were six.")


def test_a_mistaken_line_is_struck_with_a_reason_once() -> None:
    struck = strike(SCREWS, "Typed into the wrong ticket.")

    assert settled([struck])
    with pytest.raises(Unfit):
        strike(SCREWS, "")
    for deed in (lambda: strike(struck, "Again."), lambda: end(struck, End.PUT_BACK), lambda: recount(struck, 9, "x")):
        with pytest.raises(Refused):
            deed()


@given(st.integers(1, 999), st.lists(st.tuples(st.sampled_from(list(End)), st.integers(-3, 1200)), max_size=12))
def test_a_line_is_closed_exactly_when_its_ends_add_up(count: int, ends: list[tuple[End, int]]) -> None:
    line, ended = TrayLine(1, "screws", count), 0
    for how, number in ends:
        try:
            line = end(line, how, number, "a part")
        except Refused:
            continue
        ended += number

    assert line.ended == ended <= count
    assert (open_lines([line]) == []) == (ended == count)

"""Rectangles as they are typed, and as pixels: what is asked to be hidden is always inside of what is hidden."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.picture_parts import FIELDS, MOST, Part, read_parts
from portal.rules.refusals import Refused, Unfit

percents = st.floats(0, 99)
parts = st.builds(
    lambda left, top, width, height: Part(left, top, min(width, 100 - left), min(height, 100 - top)),
    percents,
    percents,
    st.floats(0.5, 100),
    st.floats(0.5, 100),
)
sides = st.integers(1, 1600)


def row(left: str, top: str, width: str, height: str) -> dict[str, str]:
    return dict(zip(FIELDS, (left, top, width, height), strict=True))


def test_rows_are_read_as_people_write_numbers() -> None:
    assert read_parts([row("10", "12,5", " 20.25 % ", "30%"), row("", " ", "", "")]) == [Part(10, 12.5, 20.25, 30)]


def test_what_juts_out_is_cut_off_at_the_edge() -> None:
    assert read_parts([row("90", "80", "100", "20.5")]) == [Part(90, 80, 10, 20)]


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        (("10", "10", "10", ""), "height-0", "wants four numbers"),
        (("-1", "10", "10", "10"), "left-0", "wants four numbers"),
        (("10", "101", "10", "10"), "top-0", "wants four numbers"),
        (("10", "1e1", "10", "10"), "top-0", "wants four numbers"),
        (("nan", "10", "10", "10"), "left-0", "wants four numbers"),
        (("٣", "10", "10", "10"), "left-0", "wants four numbers"),
        (("100", "10", "10", "10"), "left-0", "outside"),
        (("10", "10", "0", "10"), "width-0", "too thin"),
        (("10", "10", "10", "0.4"), "height-0", "too thin"),
    ],
)
def test_what_is_no_rectangle_is_refused_at_its_field(typed: tuple[str, ...], field: str, words: str) -> None:
    with pytest.raises(Unfit, match=words) as found:
        read_parts([row(*typed)])

    assert found.value.field == field


def test_a_fault_in_a_later_row_names_that_row() -> None:
    with pytest.raises(Unfit, match="Rectangle 2") as found:
        read_parts([row("1", "1", "1", "1"), row("1", "x", "1", "1")])

    assert found.value.field == "top-1"


def test_no_rectangle_at_all_is_told() -> None:
    with pytest.raises(Refused, match="No rectangle was drawn"):
        read_parts([row("", "", "", "")])


def test_no_more_than_fit_the_form() -> None:
    with pytest.raises(Refused, match="At most 6"):
        read_parts([row("1", "1", "1", "1")] * (MOST + 1))


@given(parts, sides, sides, st.sampled_from([1, 16]))
def test_pixels_hold_the_whole_part_and_stay_in_the_picture(part: Part, width: int, height: int, grid: int) -> None:
    left, top, right, bottom = part.pixels((width, height), grid)

    assert 0 <= left < right <= width
    assert 0 <= top < bottom <= height
    assert left <= part.left * width / 100
    assert top <= part.top * height / 100
    assert right >= min(width, (part.left + part.width) * width / 100 - 1e-6)
    assert bottom >= min(height, (part.top + part.height) * height / 100 - 1e-6)


@given(parts, sides, sides)
def test_on_a_grid_whole_steps_are_taken_but_at_the_far_edge(part: Part, width: int, height: int) -> None:
    left, top, right, bottom = part.pixels((width, height), 16)

    assert right % 16 == 0 or right == width
    assert bottom % 16 == 0 or bottom == height
    assert left % 16 == 0 or left == width - 1
    assert top % 16 == 0 or top == height - 1

"""A signature is a drawn line, and nothing else passes for one."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.refusals import Unfit
from portal.rules.signatures import MOST_POINTS, MOST_STROKES, SIDE, strokes

LINE = [[0, 0], [SIDE, SIDE]]
NOT_SIGNATURES: dict[str, Any] = {
    "nothing": None,
    "no stroke": [],
    "an empty stroke": [[]],
    "one dot": [[[1, 1]]],
    "words": "signed",
    "a table": {"x": 1},
    "points of three": [[[1, 2, 3], [4, 5, 6]]],
    "points in words": [[["1", "2"], ["3", "4"]]],
    "truth for a number": [[[True, False], [True, True]]],
    "not a number": [[[float("nan"), 1], [2, 2]]],
    "outside the box": [[[0, 0], [0, SIDE + 1]]],
    "left of the box": [[[-1, 0], [0, 0]]],
    "too many strokes": [LINE] * (MOST_STROKES + 1),
    "too many points": [[[1, 1]] * (MOST_POINTS + 1)],
}


def test_a_line_with_a_dot_is_a_signature():
    assert strokes([LINE, [[5.9, 6]]]) == [LINE, [[5, 6]]]


@pytest.mark.parametrize("drawn", NOT_SIGNATURES.values(), ids=NOT_SIGNATURES.keys())
def test_what_is_no_drawn_line_is_refused(drawn: Any):
    with pytest.raises(Unfit) as unfit:
        strokes(drawn)
    assert unfit.value.field == "strokes"


JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=3),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=2),
)


@given(JSON)
def test_whatever_a_browser_sends_is_a_signature_or_unfit(sent: Any):
    try:
        kept = strokes(sent)
    except Unfit:
        return
    assert strokes(kept) == kept

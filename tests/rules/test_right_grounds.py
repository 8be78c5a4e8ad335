"""The lists of the law that help whoever answers: as long as the law's own."""

from __future__ import annotations

import pytest

from portal.rules.right_grounds import GROUNDS
from portal.rules.rights import Right


@pytest.mark.parametrize(
    ("right", "article", "points"),
    [
        (Right.ERASURE, "Art. 17(1)", 6),  # (a) to (f)
        (Right.ERASURE, "Art. 17(3)", 5),  # (a) to (e)
        (Right.RESTRICTION, "Art. 18(1)", 4),  # (a) to (d)
        (Right.RECTIFICATION, "Art. 16, 19", 2),  # corrected and completed; who was given it is told
        (Right.ERASURE, "Art. 19", 2),  # who was given it is told; the person is told who they are
        (Right.RESTRICTION, "Art. 19", 2),
        (Right.OBJECTION, "Art. 21(1)", 2),  # compelling reasons; legal claims
        (Right.OBJECTION, "Art. 21(2), (3)", 2),  # at any time; absolutely
    ],
)
def test_each_list_has_as_many_points_as_the_law(right: Right, article: str, points: int) -> None:
    (listed,) = [each for each in GROUNDS[right] if each.article == article]

    assert len({str(point) for point in listed.points}) == points


@pytest.mark.parametrize(
    ("article", "point", "says"),
    [
        ("Art. 17(1)", "a", "not needed any more"),
        ("Art. 17(1)", "b", "consent"),
        ("Art. 17(1)", "c", "object"),
        ("Art. 17(1)", "d", "unlawfully"),
        ("Art. 17(1)", "e", "law asks"),
        ("Art. 17(1)", "f", "child"),
        ("Art. 17(3)", "a", "expression"),
        ("Art. 17(3)", "b", "by law"),
        ("Art. 17(3)", "c", "health"),
        ("Art. 17(3)", "d", "research"),
        ("Art. 17(3)", "e", "claims"),
        ("Art. 18(1)", "a", "wrong"),
        ("Art. 18(1)", "b", "unlawfully"),
        ("Art. 18(1)", "c", "claims"),
        ("Art. 18(1)", "d", "objected"),
    ],
)
def test_its_points_stand_in_the_laws_order(article: str, point: str, says: str) -> None:
    (listed,) = [each for lists in GROUNDS.values() for each in lists if each.article == article]

    assert says in str(listed.points[ord(point) - ord("a")])


def test_each_right_has_its_help() -> None:
    assert set(GROUNDS) == set(Right)

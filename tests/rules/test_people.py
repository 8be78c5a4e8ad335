"""Roles, names, and the keeper that a shop always has."""

from __future__ import annotations

import pytest

from portal.rules import people
from portal.rules.refusals import Refused, Unfit


@pytest.mark.parametrize("typed", ["", "admin", "Keeper", "bench "])
def test_a_role_that_is_none_is_told_with_those_there_are(typed: str) -> None:
    with pytest.raises(Unfit, match="bench, keeper"):
        people.role(typed)


def test_a_name_is_freed_of_what_cannot_be_seen() -> None:
    assert people.new_name("  Robin\u202e \x00 Fell ", []) == "Robin Fell"


@pytest.mark.parametrize("typed", ["robin", "ROBIN", " Robin "])
def test_a_name_differs_from_every_other_by_more_than_its_case(typed: str) -> None:
    with pytest.raises(Unfit, match="already"):
        people.new_name(typed, ["Robin"])


@pytest.mark.parametrize(("typed", "told"), [("", "missing"), ("x" * 41, "at most 40")])
def test_a_name_that_does_not_fit_is_told(typed: str, told: str) -> None:
    with pytest.raises(Unfit, match=told):
        people.new_name(typed, [])


def test_the_last_keeper_stays() -> None:
    with pytest.raises(Refused, match="last keeper"):
        people.check_a_keeper_stays("Kim", 1, [1])


@pytest.mark.parametrize("keepers", [[1, 2], [2], []])
def test_one_of_several_keepers_may_go(keepers: list[int]) -> None:
    people.check_a_keeper_stays("Kim", 1, keepers)

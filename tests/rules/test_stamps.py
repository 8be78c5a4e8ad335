"""The docket's lines are stamped as the device goes through the stages, and lose the stamps of what is done again."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime, timedelta

import pytest

from portal import resources
from portal.rules.policy import Policy
from portal.rules.stamps import Place, next_stage, stamps

STAGES = Policy.model_validate(tomllib.loads(resources.default_policy().read_text(encoding="utf-8"))).stages
START = datetime(2026, 3, 2, 9, tzinfo=UTC)


def lines(*moves: str) -> dict[str, tuple[str, int | None]]:
    """The lines after these moves, an hour apart: key → place, and which move stamped it."""
    came = [(key, START + timedelta(hours=hour)) for hour, key in enumerate(moves)]
    here = moves[-1] if moves else None
    return {
        stamp.stage.key: (stamp.place.value, int((stamp.at - START) / timedelta(hours=1)) if stamp.at else None)
        for stamp in stamps(STAGES, came, here)
    }


def test_what_was_passed_is_stamped_and_the_rest_is_to_come() -> None:
    assert lines("received", "cleaning") == {
        "received": ("passed", 0),
        "cleaning": ("here", 1),
        "board_work": ("to come", None),
        "testing": ("to come", None),
        "ready": ("to come", None),
    }


def test_a_stage_that_was_skipped_is_left_out() -> None:
    assert lines("received", "board_work")["cleaning"] == ("left out", None)


def test_going_back_takes_the_later_stamps_away_and_gives_a_new_one() -> None:
    after = lines("received", "cleaning", "board_work", "testing", "board_work")

    assert after["board_work"] == ("here", 4)
    assert after["testing"] == ("to come", None)
    assert after["cleaning"] == ("passed", 1)


def test_before_arrival_nothing_is_stamped() -> None:
    assert {place for place, _at in lines().values()} == {"to come"}


def test_a_stage_the_shop_no_longer_has_is_passed_over() -> None:
    came = [("received", START), ("polishing", START), ("cleaning", START)]

    assert [stamp.place for stamp in stamps(STAGES, came, "cleaning")][:2] == [Place.PASSED, Place.HERE]


@pytest.mark.parametrize(
    ("here", "following"),
    [(None, "received"), ("received", "cleaning"), ("testing", "ready"), ("ready", None), ("polishing", None)],
)
def test_what_comes_next(here: str | None, following: str | None) -> None:
    stage = next_stage(STAGES, here)

    assert (stage.key if stage else None) == following

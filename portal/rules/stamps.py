"""The customer's docket: each of the shop's stages as a line that is stamped with the moment a device came to it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from portal.rules.policy import Stage


class Place(StrEnum):
    """How a stage lies to where the device is."""

    PASSED = "passed"
    HERE = "here"
    LEFT_OUT = "left out"
    TO_COME = "to come"


@dataclass(frozen=True)
class Stamp:
    """A line of the docket. `at` is when the device came to the stage; None where it was left out or is to come."""

    stage: Stage
    place: Place
    at: datetime | None = None


def stamps(stages: Sequence[Stage], moves: Iterable[tuple[str, datetime]], here: str | None) -> list[Stamp]:
    """The docket's lines in the shop's order. `moves` are stage keys with the moment of coming, the oldest first.

    A device that goes back loses the stamps of what is to be done again. Stages that the shop no longer has are
    passed over.
    """
    keys = [stage.key for stage in stages]
    position = keys.index(here) if here in keys else -1
    came: dict[int, datetime] = {}
    for key, at in moves:
        if key in keys:
            place = keys.index(key)
            came = {earlier: when for earlier, when in came.items() if earlier < place} | {place: at}
    return [Stamp(stage, _place(index, position, came), came.get(index)) for index, stage in enumerate(stages)]


def next_stage(stages: Sequence[Stage], here: str | None) -> Stage | None:
    """The stage that comes next, or None at the end, or where the present one is unknown."""
    keys = [stage.key for stage in stages]
    if here is None:
        return stages[0]
    following = keys.index(here) + 1 if here in keys else len(keys)
    return stages[following] if following < len(keys) else None


def _place(index: int, position: int, came: dict[int, datetime]) -> Place:
    if index == position:
        return Place.HERE
    if index > position:
        return Place.TO_COME
    return Place.PASSED if index in came else Place.LEFT_OUT

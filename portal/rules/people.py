"""Who works in the shop: roles, names, and that a shop never loses its last keeper."""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal, get_args

from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.text import line

Role = Literal["bench", "keeper"]
ROLES: tuple[Role, ...] = get_args(Role)
LONGEST_NAME = 40  # characters; as long as its column


def role(typed: str) -> Role:
    """A role by its key. Raises Unfit."""
    if typed not in ROLES:
        raise Unfit("role", say("There is no role “{role}”. Allowed: {allowed}.", role=typed, allowed=", ".join(ROLES)))
    return typed


def new_name(typed: str, taken: Collection[str]) -> str:
    """A name that nobody has yet, whatever its case. Raises Unfit."""
    name = line("name", say("The name"), typed, limit=LONGEST_NAME, required=True)
    if name.casefold() in {each.casefold() for each in taken}:
        raise Unfit("name", say("There is a “{name}” already. Please take another name.", name=name))
    return name


def check_a_keeper_stays(name: str, staff_id: int, keepers: Collection[int]) -> None:
    """Refuse to take the last keeper, whose id is `staff_id`, away from the shop."""
    if set(keepers) == {staff_id}:
        raise Refused(
            say("“{name}” is the last keeper, and a shop needs one. Make somebody else a keeper first.", name=name)
        )

"""What the policy says of the bench: kinds of device with their sheets, cautions, and who may do what."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, StringConstraints

from portal.rules.limits import Limits, parse_limits
from portal.rules.policy_base import Key, Line, Part, Words

Hazard = Literal["cell", "mains", "liquid"]


def _limits(text: str) -> str:
    parse_limits(text)
    return text


class Check(Part):
    """One line of a test sheet for a kind of device."""

    key: Key
    bench: Line
    customer: Words
    when: Literal["before", "after", "both"] = "both"
    needed: bool = True
    limits: Annotated[str, StringConstraints(max_length=60), AfterValidator(_limits)] = ""  # as 12.0 V ± 5 %
    behind_lock: bool = False  # cannot be tried while the device is locked
    soak_minutes: int = Field(default=0, ge=0, le=10_080)  # how long a soak test runs; at most a week

    def band(self) -> Limits | None:
        """The limits of its measured value, or None where nothing is measured."""
        return parse_limits(self.limits)


class Kind(Part):
    """A kind of device, with what is usual for it."""

    key: Key
    label: Words
    mains: bool = False  # has parts at mains voltage inside
    marks: list[Line] = Field(default=[], max_length=30)  # common marks on arrival, one tap each
    tray: list[Line] = Field(default=[], max_length=30)  # what is commonly taken out, one tap each
    checks: list[Check] = Field(default=[], max_length=60)

    def check(self, key: str) -> Check | None:
        """The check with this key, or None."""
        return next((check for check in self.checks if check.key == key), None)


class Caution(Part):
    """A warning shown where the work is. It points to local codes and qualified people, and calls nothing safe."""

    key: Key
    text: Line
    stages: list[Key] = []  # none: in every stage
    kinds: list[Key] = []  # none: for every kind
    hazard: Hazard | None = None  # acknowledged anew for each ticket that carries this hazard
    only_flagged: bool = False  # shown only for tickets that carry the hazard


class Bench(Part):
    """What the bench may do without the keeper, and what the shop uses."""

    may_let_through: bool = False  # the bench lets a sheet through itself, and the keeper is told
    donors: bool = False  # the list of donor devices
    announcing: bool = False  # customers announce a device before they post it
    packing: Words = Field(default_factory=dict)  # the shop's own packing advice, beside the standing one

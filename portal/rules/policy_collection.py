"""What the policy says of devices that are ready and not collected: reminders, storage, and whose law applies."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, model_validator

from portal.rules.policy_base import Key, NotAllowed, Part
from portal.rules.sentences import say

Days = Annotated[int, Field(ge=1, le=400)]
Law = Literal["none", "england-wales-northern-ireland"]


class Storage(Part):
    """A charge for storage. It counts only for customers who accepted terms in which the named point says so."""

    per_day: Decimal = Field(gt=0, le=1000)  # in the shop's currency, tax included where there is one
    after_days: Days  # so many days after it was ready are free
    at_most: Decimal = Field(gt=0, le=100_000)
    terms_point: Key


class Collection(Part):
    """Reminders count from the day on which the customer was told that the device is ready, which is day 0."""

    reminders: list[Days] = Field(default=[3, 7, 14, 28], max_length=12)
    storage: Storage | None = None
    law: Law = "none"  # the rules for a notice to collect and a notice of intention to sell

    @model_validator(mode="after")
    def _later_and_later(self) -> Collection:
        for first, second in pairwise(self.reminders):
            if second <= first:
                raise NotAllowed(
                    say("day {second} after day {first}", first=first, second=second),
                    say("days that grow, like [3, 7, 14, 28]"),
                )
        return self

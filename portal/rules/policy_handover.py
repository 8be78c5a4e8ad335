"""What the policy says of giving devices back: how customers may have them, and what the bench may do alone."""

from __future__ import annotations

from pydantic import Field, StrictBool, model_validator

from portal.rules.policy_base import NotAllowed, Part
from portal.rules.return_ways import Way
from portal.rules.sentences import say


class Handover(Part):
    """The end of a repair."""

    offers: list[Way] = Field(default=[Way.COLLECT, Way.SEND, Way.POST], min_length=1, max_length=3)
    weeks_ahead: int = Field(default=4, ge=1, le=26)  # so far ahead customers may choose a day
    bench_without_code: StrictBool = False  # the bench, too, may hand over without a code; else only the keeper
    undo_minutes: int = Field(default=60, ge=0, le=1440)  # so long a handover can be undone; 0 for never

    @model_validator(mode="after")
    def _each_way_once(self) -> Handover:
        twice = sorted({way for way in self.offers if self.offers.count(way) > 1})
        if twice:
            raise NotAllowed(say("the way “{way}” twice", way=twice[0].value), say("each way once"))
        return self

"""What the policy says of ready windows: whether customers are shown them, and what they are told until then."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, StrictBool

from portal.rules.policy_base import Key, Part

Days = Annotated[int, Field(ge=1, le=400)]


class Forecast(Part):
    """When a device will probably be ready. The usual time counts days on which the shop is open."""

    shown: StrictBool = True  # to customers, once windows have been true; the bench sees them anyway
    finished_needed: int = Field(default=40, ge=20, le=5000)  # finished repairs before anything is reckoned
    usual_days: Days | None = None  # what customers are told while there is no window; None: nothing
    usual_days_by_kind: dict[Key, Days] = Field(default={}, max_length=60)  # where a kind of work takes another time

    def usual(self, kind: str) -> int | None:
        """The open days that work of a kind usually takes, or None where the shop does not say."""
        return self.usual_days_by_kind.get(kind, self.usual_days)

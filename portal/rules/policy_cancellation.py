"""What the policy says of contracts made at a distance: how long they can be cancelled, and how that is told."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from portal.rules.policy_base import Part, Passages


class Cancellation(Part):
    """The right to cancel a contract that was made without meeting, for customers who sent their device by post."""

    # From the day after the customer agreed (Directive 2011/83/EU Art. 9; SI 2013/3134 reg. 30, from memory).
    days: int = Field(default=14, ge=1, le=90)
    # Whose law counts them: in the European Union the time never ends on a Saturday, a Sunday or a public holiday.
    law: Literal["", "eu", "uk"] = ""
    right: Passages  # that there is a right to cancel, how to use it, and what it then costs
    request: Passages  # what a customer says who asks the shop to begin before that time is over

    @property
    def to_working_day(self) -> bool:
        """Whether the time runs on to the next working day; public holidays are those of the opening hours."""
        return self.law == "eu"

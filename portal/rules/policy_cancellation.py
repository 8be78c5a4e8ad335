"""What the policy says of contracts made at a distance: how long they can be cancelled, and how that is told."""

from __future__ import annotations

from pydantic import Field

from portal.rules.policy_base import Part, Passages


class Cancellation(Part):
    """The right to cancel a contract that was made without meeting, for customers who sent their device by post."""

    # From the day after the customer agreed (Directive 2011/83/EU Art. 9; SI 2013/3134 reg. 30, from memory).
    days: int = Field(default=14, ge=1, le=90)
    right: Passages  # that there is a right to cancel, how to use it, and what it then costs
    request: Passages  # what a customer says who asks the shop to begin before that time is over

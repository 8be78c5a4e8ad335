"""What the policy says of customers who are not satisfied: until when they have an answer."""

from __future__ import annotations

from pydantic import Field

from portal.rules.policy_base import Part


class Complaints(Part):
    """Days count from the day on which the customer said so."""

    answer_days: int = Field(default=14, ge=1, le=60)
    review_days: int = Field(default=90, ge=7, le=365)  # so long the data is kept for it; then somebody looks again

"""What the policy says of formal notices on devices that nobody collects. Whose law: `collection.law`."""

from __future__ import annotations

from pydantic import Field

from portal.rules.policy_base import Part


class Formal(Part):
    """How the earliest day is reckoned. The shop may be more patient than the law, never less."""

    delivery_days: int = Field(default=4, ge=2, le=21)  # from posting until a letter counts as there; common caution
    months: int = Field(default=3, ge=3, le=24)  # that must pass where money is owed

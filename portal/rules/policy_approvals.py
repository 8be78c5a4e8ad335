"""What the policy says of questions about money: who looks first, how an answer counts, how the shop reckons."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from pydantic import Field, StrictBool

from portal.rules.money import Rounding
from portal.rules.policy_base import Part


class Approvals(Part):
    """Amounts are in the shop's currency, tax included."""

    sign_off_above: Decimal | None = Field(default=None, ge=0)  # the keeper looks first above it; None: never
    code_above: Decimal = Field(default=Decimal(100), ge=0)  # from the docket's link alone, a code is asked above it
    # Working days; then a question lapses at closing time: not done, not charged.
    answer_within_days: int = Field(default=5, ge=1, le=60)
    remind_after_days: int = Field(default=2, ge=0, le=60)  # working days; 0 for no reminder
    docket_may_answer: StrictBool = False  # whoever holds the docket answers where no contact is on file
    rounding: Rounding = Rounding.PER_LINE
    prices_include_tax: StrictBool = True
    # Rates that a line may have instead of the shop's own `tax_percent`; a shop without tax has none.
    other_tax_percents: list[Annotated[Decimal, Field(ge=0, lt=100)]] = Field(default=[], max_length=4)

"""What the policy says of paying: the shop's own words, and the account that a transfer goes to."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field, StringConstraints, model_validator

from portal.rules.epc import LONGEST_NAME, compact, is_bic, is_iban
from portal.rules.policy_base import NotAllowed, Part, Passages
from portal.rules.sentences import say


def _iban(typed: str) -> str:
    text = compact(typed)
    if text and not is_iban(text):
        raise NotAllowed(say("“{name}”", name=typed), say("an IBAN whose check digits are right, or nothing"))
    return text


def _bic(typed: str) -> str:
    text = compact(typed)
    if text and not is_bic(text):
        raise NotAllowed(say("“{name}”", name=typed), say("a BIC of eight or eleven letters and digits, or nothing"))
    return text


class Money(Part):
    """Nothing here is needed. With an IBAN a shop that reckons in euro shows a code that banks' apps read."""

    how_to_pay: Passages = Field(default_factory=dict)  # customers read it beside what is still to be paid
    payee: Annotated[str, StringConstraints(strip_whitespace=True, max_length=LONGEST_NAME, pattern=r"^[^\n]*$")] = ""
    iban: Annotated[str, AfterValidator(_iban)] = ""
    bic: Annotated[str, AfterValidator(_bic)] = ""
    # What is owed back goes back within so many days, from the day on which the shop heard of a cancellation, or else
    # from the day on which it came to be owed (Directive 2011/83/EU Art. 13(1); SI 2013/3134 reg. 34).
    refund_days: int = Field(default=14, ge=1, le=90)

    @model_validator(mode="after")
    def _an_account_is_somebodys(self) -> Money:
        if self.iban and not self.payee:
            raise NotAllowed(say("an account without a name"), say("“payee”: the name that the account stands in"))
        return self

"""What the policy says of keeping: how long each kind of data stays, within what can be defended."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field, model_validator

from portal.rules.periods import Period, read_period
from portal.rules.policy_base import NotAllowed, Part, Words
from portal.rules.retention import REGISTER, Kept
from portal.rules.sentences import say


def _period(text: str) -> str:
    period = read_period(text)
    if period is None:
        raise NotAllowed(
            say("“{text}”", text=text[:40]),
            say("a period with an end, like “30 days”, “3 months” or “6 years”"),
        )
    return str(period)


Written = Annotated[str, AfterValidator(_period)]


class Retention(Part):
    """How long each kind of data is kept. Whoever sets one sets all, so that none is forgotten."""

    contact: Written
    post_address: Written
    device: Written
    record: Written
    photo: Written
    publication: Written = "2 years"  # a policy from before there was one says nothing of it
    message: Written
    approval: Written
    money: Written
    announced: Written
    staff: Written
    technical: Written
    request: Written = "3 years"  # policies from before requests were kept do not name it
    push: Written = "3 days"  # the same of notices on devices
    # Longer than usual rests on local law: which, in the shop's own words. Shown in the notice and the record.
    longer_because: Words = Field(default_factory=dict)

    @model_validator(mode="after")
    def _within_their_grounds(self) -> Retention:
        for kept, entry in REGISTER.items():
            period = self.period(kept)
            longest = _BY_LOCAL_LAW[kept] if self.longer_because and kept in _BY_LOCAL_LAW else entry.longest
            if period.longer_than(longest):
                raise NotAllowed(
                    say("{kept}: {period}", kept=kept.value, period=period.words()),
                    say("at most {longest}: {ground}", longest=longest.words(), ground=entry.ground),
                )
        return self

    def period(self, kept: Kept) -> Period:
        """The period of a kind of data."""
        found = read_period(getattr(self, kept.value))
        if found is None:
            raise ValueError(f"The policy's period for {kept.value} was not checked.")
        return found


# Tax and commercial law differ by country: a shop elsewhere may have to keep these longer, and says why.
_BY_LOCAL_LAW = {Kept.APPROVAL: Period(30, "year"), Kept.MONEY: Period(30, "year")}


def usual() -> Retention:
    """The periods of a shop that has set none."""
    return Retention(**{kept.value: str(entry.usual) for kept, entry in REGISTER.items()})

"""A device that comes back within its warranty: is it the same fault, and who pays the way? Decided after looking.

Whatever is decided, nothing is charged without a yes to an offer. Not legal advice: the law may give customers more.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from enum import StrEnum

from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import Sentence, say


class Verdict(StrEnum):
    """Whether what brought it back is what was repaired."""

    SAME = "same"
    OTHER = "other"
    UNCLEAR = "unclear"


class Way(StrEnum):
    """Who pays the way here and back."""

    SHOP = "shop"
    CUSTOMER = "customer"
    NOBODY = "nobody"


VERDICT_WORDS: Mapping[Verdict, Sentence] = {
    Verdict.SAME: say("the same fault"),
    Verdict.OTHER: say("another fault"),
    Verdict.UNCLEAR: say("cannot be told for certain"),
}
WAY_WORDS: Mapping[Way, Sentence] = {
    Way.SHOP: say("the shop pays the way"),
    Way.CUSTOMER: say("the customer pays the way"),
    Way.NOBODY: say("the way costs nothing"),
}
CUSTOMER_VERDICT_WORDS: Mapping[Verdict, Sentence] = {
    Verdict.SAME: say("We looked: it is the same fault as before. The repair costs you nothing."),
    Verdict.OTHER: say(
        "We looked: it is another fault than before. Nothing is done before you have agreed to a price."
    ),
    Verdict.UNCLEAR: say(
        "We looked: whether it is the same fault cannot be told for certain. Nothing costs you anything before you "
        "have agreed to it."
    ),
}
CUSTOMER_WAY_WORDS: Mapping[Way, Sentence] = {
    Way.SHOP: say("We pay the way here and back."),
    Way.CUSTOMER: say("The way here and back is for you to pay."),
    Way.NOBODY: say("The way here and back costs nothing."),
}


def must_be_within(until: date | None, today: date) -> date:
    """The last day of the warranty. Raises Refused for a device that has none, or whose warranty is over."""
    if until is None:
        raise Refused(
            say("This device has no warranty: nothing was repaired, or it has not left. Take it in as a new repair.")
        )
    if today > until:
        raise Refused(say("The warranty ended on {until}. Take the device in as a new repair.", until=until))
    return until


def fit_verdict(typed: str) -> Verdict:
    """What was found. Raises Unfit (field "verdict")."""
    if typed not in list(Verdict):
        raise Unfit("verdict", say("Choose whether it is the same fault."))
    return Verdict(typed)


def fit_way(typed: str, verdict: Verdict) -> Way:
    """Who pays the way. Raises Unfit (field "way"); a customer with the same fault does not pay for the way."""
    if typed not in list(Way):
        raise Unfit("way", say("Choose who pays the way."))
    if verdict is Verdict.SAME and typed == Way.CUSTOMER:
        raise Unfit("way", say("It is the same fault: the customer does not pay for bringing it back."))
    return Way(typed)

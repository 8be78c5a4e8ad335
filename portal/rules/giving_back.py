"""Why a device goes back as it came: the usual reasons, which the customer reads in their own language."""

from __future__ import annotations

from collections.abc import Mapping

from portal.rules.refusals import Unfit
from portal.rules.sentences import Sentence, say

REASONS: Mapping[str, Sentence] = {
    "beyond_repair": say("It cannot be repaired at a price that makes sense."),
    "no_part": say("The part that it needs is not to be had."),
    "declined": say("You did not want the repair at its price."),
    "wanted_back": say("You wanted it back before the repair was done."),
    "no_fault": say("We found no fault: it did everything it should while it was here."),
}


def fit_reason(typed: str) -> Sentence | None:
    """The usual reason that was chosen, or None for none. Raises Unfit (field "reason") for another."""
    if not typed:
        return None
    if typed not in REASONS:
        raise Unfit("reason", say("There is no such reason. Choose one of the list, or write your own."))
    return REASONS[typed]

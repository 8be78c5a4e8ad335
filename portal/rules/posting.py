"""Posting a device back: what is looked at before the parcel is closed, and the day on which it went.

What a carrier takes changes, so no limits stand here: the carrier is asked. A battery that is swollen, hot, wet or
punctured is never posted (lithium cells in equipment are UN 3481; damaged ones are forbidden in the ordinary post).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import date

from portal.rules.days import read_day
from portal.rules.refusals import Unfit, needs
from portal.rules.sentences import Sentence, say

PACKING: Mapping[str, Sentence] = {
    "battery": say("No battery is swollen, hot, wet or punctured, and none lies loose in the box"),
    "carrier": say("The carrier takes what is in it: for batteries, what it says today was read or asked"),
    "off": say("It is switched off and cannot switch itself on"),
    "padded": say("Nothing in the box can move, and it is padded on every side"),
    "items": say("Everything handed in that goes back is in the box"),
    "address": say("The address on the parcel is the one that stands here"),
}
ASK_THE_CARRIER = say("What may be posted changes: ask the carrier, and follow local rules.")


def packed(ticked: Collection[str]) -> None:
    """Raise Unfit (field "packed") where something on the list was not looked at."""
    if not PACKING.keys() <= set(ticked):
        raise Unfit("packed", say("Look at everything on the packing list before the parcel goes."))


def day_of(field: str, what: Sentence, typed: str, *, earliest: date, today: date) -> date:
    """The day as typed. Raises Unfit for none, one to come, or one before it could have been."""
    if not typed.strip():
        raise needs(field, what)
    day = read_day(field, typed)
    if not earliest <= day <= today:
        raise Unfit(field, say("A day from {earliest} to {today} is meant.", earliest=earliest, today=today))
    return day

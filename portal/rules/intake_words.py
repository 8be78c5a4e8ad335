"""The words of the intake record's questions and choices, for pages and print."""

from __future__ import annotations

from collections.abc import Mapping

from portal.rules.intake_record import CHOICES, Answer, Battery, Liquid, Record, Seal, Unlocking
from portal.rules.sentences import Sentence, say

FIELD_WORDS: Mapping[str, Sentence] = {
    "seal": say("The seal"),
    "liquid": say("Liquid inside"),
    "backed_up": say("Is everything on it backed up?"),
    "may_reset": say("May we reset it, if needed?"),
    "signed_out": say("Signed out of its account?"),
    "maker_warranty": say("Still under the maker’s warranty?"),
    "may_open": say("May we open it all the same?"),
    "unlocking": say("Who unlocks it for testing?"),
}
CHOICE_WORDS: Mapping[str, Sentence] = {
    Seal.WHOLE: say("whole"),
    Seal.BROKEN: say("broken"),
    Seal.MISSING: say("missing"),
    Seal.NOT_LOOKED_AT: say("not looked at"),
    Liquid.NONE_SEEN: say("none seen"),
    Liquid.SIGNS: say("signs of it"),
    Liquid.TOLD: say("the customer says so"),
    Answer.NOT_ASKED: say("not asked"),
    Answer.YES: say("yes"),
    Answer.NO: say("no"),
    Unlocking.NO_LOCK: say("it has no lock"),
    Unlocking.IN_PERSON: say("the owner, in person"),
    Unlocking.REMOVED: say("the lock was removed"),
    Unlocking.TESTED_WITHOUT: say("tested without"),
}
_NOBODY_LOOKED = (Seal.NOT_LOOKED_AT, Liquid.NOT_LOOKED_AT, Answer.NOT_ASKED, Unlocking.NOT_ASKED)
FLAG_WORDS: Mapping[Battery, Sentence] = {
    Battery.SWOLLEN: say("swollen"),
    Battery.HOT: say("hot"),
    Battery.WET: say("wet"),
    Battery.PUNCTURED: say("punctured"),
}


def noted(record: Record) -> list[tuple[Sentence, Sentence]]:
    """The questions that somebody looked at or asked, each with what it was answered."""
    chosen = [(name, choices(getattr(record, name))) for name, choices in CHOICES.items()]
    return [(FIELD_WORDS[name], CHOICE_WORDS[choice]) for name, choice in chosen if choice not in _NOBODY_LOOKED]

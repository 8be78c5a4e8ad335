"""Giving a device up, or having what carries data destroyed: only by its owner's express wish in writing.

Silence is never a wish. Electrical waste goes to licensed recyclers (in the European Union Directive 2012/19/EU, in
the United Kingdom the Waste Electrical and Electronic Equipment Regulations 2013); local rules decide. This is not
legal advice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import Sentence, say


class Data(StrEnum):
    """What is to become of what carries data inside."""

    GIVE_BACK = "give back"
    DESTROY = "destroy"
    NONE_INSIDE = "none inside"


class How(StrEnum):
    """How a wish was given."""

    PAGE = "page"
    LETTER = "letter"
    MAIL = "mail"
    SIGNED = "signed here"


WORDS: Mapping[str, str] = {"en": "GIVE UP", "de": "AUFGEBEN"}  # what the owner types on their page
DESTROY_WORDS: Mapping[str, str] = {"en": "DESTROY", "de": "VERNICHTEN"}
HOW_WORDS: Mapping[How, Sentence] = {
    How.PAGE: say("on their page, by typing a word"),
    How.LETTER: say("by letter"),
    How.MAIL: say("by e-mail"),
    How.SIGNED: say("signed here"),
}
DATA_WORDS: Mapping[Data, Sentence] = {
    Data.GIVE_BACK: say("What carries data is taken out and given back."),
    Data.DESTROY: say("What carries data is destroyed. Nobody can read it afterwards, and nobody can bring it back."),
    Data.NONE_INSIDE: say("Nothing inside carries data."),
}
GIVES_UP = say("The device is given up. It belongs to the shop from then on, which takes care of its disposal.")
KEEPS = say("The device itself is given back.")
WASTE = say(
    "Electrical waste goes to a licensed recycler, never into the bin. Local rules decide; batteries go apart from the "
    "rest, and a damaged one is for a qualified person."
)


WISH_WORDS: Mapping[str, Sentence] = {
    "give up": say("the device is given up."),
    "destroy": say("what carries data is destroyed."),
    "give up and destroy": say("the device is given up, and what carries data is destroyed."),
}


@dataclass(frozen=True)
class Wish:
    """What the owner wants: whether the device is given up, and what becomes of what carries data."""

    gives_up: bool
    data: Data
    given_at: datetime | None = None

    @property
    def name(self) -> str:
        """What the journal calls it, a key of `WISH_WORDS`."""
        if not self.gives_up:
            return "destroy"
        return "give up and destroy" if self.data is Data.DESTROY else "give up"


def fit_wish(gives_up: bool, data: str) -> Wish:
    """The wish as stored. Raises Unfit (field "data") for no answer about the data, or a wish for nothing."""
    try:
        wanted = Data(data)
    except ValueError:
        raise Unfit("data", say("Please say what is to become of what carries data.")) from None
    if not gives_up and wanted is not Data.DESTROY:
        raise Unfit("gives_up", say("Please say what you wish: to give the device up, or to have its data destroyed."))
    return Wish(gives_up, wanted)


def word_for(wish: Wish, language: str) -> str:
    """The word that its owner types, in the language they read."""
    words = WORDS if wish.gives_up else DESTROY_WORDS
    return words.get(language.split("-")[0], words["en"])


def typed_fits(wish: Wish, typed: str, language: str) -> str:
    """The word as typed. Raises Unfit (field "word") for any other one: a press of a button alone is no wish."""
    wanted, given = word_for(wish, language), " ".join(typed.split())
    if given.casefold() != wanted.casefold():
        raise Unfit("word", say("To say so, type {word}. Without it nothing happens.", word=wanted))
    return given


def may_give_up(wish: Wish | None) -> None:
    """Raise Refused where the owner has not wished in writing that the device is given up."""
    if wish is None or not wish.gives_up:
        raise Refused(
            say(
                "Its owner has not said in writing that they give it up. Silence is no wish: ask them, and write down "
                "how and when they said it."
            )
        )

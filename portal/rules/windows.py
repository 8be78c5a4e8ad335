"""What becomes of a ready window: who is shown it, what it misses, and why one moved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from portal.rules.forecast import Thin, Window
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import Sentence, say


class Why(StrEnum):
    """Why customers are not shown a window."""

    SHOWN = ""  # they are
    OFF = "off"
    THIN = "thin"
    OUTLASTED = "outlasted"
    UNPROVEN = "unproven"


class Miss(StrEnum):
    """How a day stands to the window: more likely missed than not, or in doubt."""

    LIKELY = "likely"
    POSSIBLE = "possible"


@dataclass(frozen=True)
class Between:
    """From one day to another, both included, as a fact of a sentence; the language says it in words."""

    first: date
    last: date


@dataclass(frozen=True)
class Outlook:
    """What can be said of a device, before anybody is told. Both windows are there, or neither is."""

    why: Why
    window: Window | None
    half: Window | None
    found: int
    needed: int


WHY_WORDS: Mapping[Why, Sentence] = {
    Why.SHOWN: say("The customer reads this window."),
    Why.OFF: say("Customers are shown no windows: so says the policy. They read the usual time."),
    Why.THIN: say("Too little past: {found} finished of {needed} that are needed. Customers read the usual time."),
    Why.OUTLASTED: say("It has been here longer than anything before it, so the past says nothing more."),
    Why.UNPROVEN: say("Windows have not held as often as they say, so far. Customers read the usual time."),
}
MISS_WORDS: Mapping[Miss, Sentence] = {
    Miss.LIKELY: say("It is needed by {day}, and will probably not be ready by then."),
    Miss.POSSIBLE: say("It is needed by {day}, and may not be ready by then."),
}

REASONS: Mapping[str, Sentence] = {
    "part": say("We still wait for a part."),
    "more": say("There is more to mend than we saw at first."),
    "tests": say("A test showed something that we must mend first."),
    "answer": say("We wait for your answer."),
    "crowd": say("More has come in than we can do at once."),
    "absence": say("One of us is away at the moment."),
}


def outlook(
    window: Window | Thin, half: Window | Thin, *, finished: int, needed: int, held: bool, shown: bool
) -> Outlook:
    """What is said of a device: `finished` of `needed` repairs are over, windows have `held`, customers are `shown`."""
    if finished < needed:
        return Outlook(Why.THIN, None, None, finished, needed)
    if isinstance(window, Thin) or isinstance(half, Thin):
        thin = window if isinstance(window, Thin) else half
        assert isinstance(thin, Thin)
        why = Why.OUTLASTED if thin.found >= thin.needed else Why.THIN
        return Outlook(why, None, None, thin.found, thin.needed)
    why = Why.OFF if not shown else Why.SHOWN if held else Why.UNPROVEN
    return Outlook(why, window, half, finished, needed)


def probably(first: date, last: date) -> Sentence:
    """A window of 80 % as people read it."""
    return say("Probably ready {days} (8 in 10 repairs like this).", days=Between(first, last))


def misses(day: date | None, median: date | None, last: date | None) -> Miss | None:
    """Whether a day will be missed, by the window's last day and the one in its middle; None where it is kept."""
    if day is None or median is None or last is None:
        return None
    if median > day:
        return Miss.LIKELY
    return Miss.POSSIBLE if last > day else None


def why_words(why: Why, found: int, needed: int) -> Sentence:
    """What the bench reads of why customers are shown a window or none."""
    return Sentence(WHY_WORDS[why].template, {"found": found, "needed": needed})


def miss_words(needed_by: date | None, median: date | None, last: date | None) -> Sentence | None:
    """What the bench reads of a day by which a device is needed; None where it will be kept, or nothing is known."""
    miss = misses(needed_by, median, last)
    return Sentence(MISS_WORDS[miss].template, {"day": needed_by}) if miss else None


def will_be_missed(said: Outlook, promised_on: date | None, told_last: date | None, today: date) -> bool:
    """Whether the day that the customer reckons with will more likely be missed than kept.

    That is the day promised by hand, else the last day that they read. What outlasted everything before it misses any
    day; where the past says nothing, a promise is missed when its day is over.
    """
    read = told_last if said.why in (Why.SHOWN, Why.OUTLASTED) else None
    day = promised_on or read
    if day is None:
        return False
    if said.window is not None:
        return misses(day, said.window.median, said.window.last) is Miss.LIKELY
    return said.why is Why.OUTLASTED or day < today


def fit_reason(typed: str) -> str:
    """The reason why a window moved, as chosen. Raises Unfit (field "because")."""
    if typed not in REASONS:
        raise Unfit("because", say("Choose the reason that the customer reads."))
    return typed


def fit_promise(day: date | None, today: date) -> date:
    """The day that the shop promises. Raises Unfit (field "promised_on") for none, or one that is over."""
    if day is None:
        raise Unfit("promised_on", say("Choose the day by which it will be ready."))
    if day < today:
        raise Unfit("promised_on", say("That day is over. Promise today or a later day."))
    return day


def must_be_under_way(stage: str | None, ended: bool, last_stage: str) -> None:
    """Raise Refused for a device that is not here, or ready already."""
    if stage is None or ended:
        raise Refused(say("This device is not here. There is nothing to say of when it is ready."))
    if stage == last_stage:
        raise Refused(say("It is ready already."))

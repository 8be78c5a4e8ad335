"""Words between customers and the shop: how much may be written, who wrote, what came another way, what is unread."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Any

from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import Sentence, say
from portal.rules.text import passage

LONGEST = 2000  # characters of one writing
MOST_FREELY = 8  # writings about one device, before each has to wait
WINDOW = timedelta(minutes=30)
MOST_PHOTOS = 10  # of one device


class Writer(StrEnum):
    """By whose link something was written."""

    OWNER = "owner"
    SECOND = "second"
    DOCKET = "docket"


class How(StrEnum):
    """How a customer said something that is not written on their page."""

    PHONE = "phone"
    MAIL = "mail"
    COUNTER = "counter"


class Outcome(StrEnum):
    """What came of a call."""

    REACHED = "reached"
    NOT_REACHED = "not_reached"
    RANG_US = "rang_us"  # the customer rang the shop


WRITER_WORDS: Mapping[Writer, Sentence] = {
    Writer.OWNER: say("the owner"),
    Writer.SECOND: say("the second person"),
    Writer.DOCKET: say("by the docket’s link"),
}
HOW_WORDS: Mapping[How, Sentence] = {
    How.PHONE: say("on the telephone"),
    How.MAIL: say("by e-mail or letter"),
    How.COUNTER: say("at the counter"),
}
OUTCOME_WORDS: Mapping[Outcome, Sentence] = {
    Outcome.REACHED: say("rung and reached"),
    Outcome.NOT_REACHED: say("rung and not reached"),
    Outcome.RANG_US: say("rang us"),
}
_THEIRS = ("wrote", "said")


def written(typed: str) -> str:
    """What a customer wrote, bounded. Raises Unfit."""
    return passage("text", say("What you write"), typed, limit=LONGEST, required=True)


def how(typed: str) -> How:
    """How something was said, as chosen. Raises Unfit."""
    if typed not in list(How):
        raise Unfit("how", say("Choose how the customer said it."))
    return How(typed)


def outcome(typed: str) -> Outcome:
    """What came of a call, as chosen. Raises Unfit."""
    if typed not in list(Outcome):
        raise Unfit("outcome", say("Say what came of the call: reached or not, or that they rang."))
    return Outcome(typed)


def room_for_photo(sent: int) -> None:
    """Refuse one more photo than a customer may send of one device. Raises Refused."""
    if sent >= MOST_PHOTOS:
        raise Refused(
            say("You have sent {most} photos of this device; no more fit. Write without one.", most=MOST_PHOTOS)
        )


def unread_since(entries: Iterable[tuple[str, Mapping[str, Any], datetime]]) -> datetime | None:
    """Since when words of the customer wait to be read, by a journal's events in order; None where none do.

    A consent to publication that was taken back on their page counts as words. An answer, and a note that they were
    read, end the wait; every other deed leaves it.
    """
    since: datetime | None = None
    for event, data, at in entries:
        if event == "wrote" or (event == "publication_refused" and data.get("on_page")):
            since = since or at
        elif event == "words_read" or "answers" in data:
            since = None
    return since


def to_answer(entries: Iterable[tuple[int, str]]) -> int | None:
    """The newest entry (of number and event, in order) that holds a customer's own words; None where none does."""
    newest = None
    for entry, event in entries:
        if event in _THEIRS:
            newest = entry
    return newest

"""Requests about personal data: the rights a person has, and the clock of each request.

An answer is due one month after the day of receipt, three where that was told with reasons within the first (GDPR
Art. 12(3)); months run to the corresponding date and on to a working day (Reg. (EEC, Euratom) 1182/71 Art. 3). In the
United Kingdom the clock may stand still while the shop waits to learn who asks, or about what (UK GDPR Art. 12A). Not
legal advice; local law decides.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from portal.rules.deadlines import answer_due
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import Sentence, say

SOON = timedelta(days=7)  # the keeper is reminded so long before (common practice, no source)
IsHoliday = Callable[[date], bool]


class Right(StrEnum):
    """What somebody may ask of their data."""

    ACCESS = "access"
    RECTIFICATION = "rectification"
    ERASURE = "erasure"
    RESTRICTION = "restriction"
    OBJECTION = "objection"


class State(StrEnum):
    """Where a request stands."""

    OPEN = "open"
    DONE = "done"
    REFUSED = "refused"


class Law(StrEnum):
    """Whose regulation: only the British one lets the clock stand still."""

    EU = "eu"
    UK = "uk"


class Through(StrEnum):
    """How a request came."""

    PAGE = "page"
    MAIL = "mail"
    COUNTER = "counter"
    TELEPHONE = "telephone"


BY_STAFF = (Through.MAIL, Through.COUNTER, Through.TELEPHONE)  # ways of requests that the staff write down
RIGHT_WORDS: Mapping[Right, Sentence] = {
    Right.ACCESS: say("to see the data, or to take it along (Art. 15 and 20 GDPR)"),
    Right.RECTIFICATION: say("to have it corrected (Art. 16 GDPR)"),
    Right.ERASURE: say("to have it erased (Art. 17 GDPR)"),
    Right.RESTRICTION: say("that it is only stored, and not used (Art. 18 GDPR)"),
    Right.OBJECTION: say("objection to a legitimate interest of the shop (Art. 21 GDPR)"),
}
STATE_WORDS: Mapping[State, Sentence] = {
    State.OPEN: say("open"),
    State.DONE: say("done"),
    State.REFUSED: say("refused"),
}
THROUGH_WORDS: Mapping[Through, Sentence] = {
    Through.PAGE: say("on their page"),
    Through.MAIL: say("by letter or e-mail"),
    Through.COUNTER: say("at the counter"),
    Through.TELEPHONE: say("by telephone"),
}
# Who is refused, or waits longer, is told of these two ways (GDPR Art. 12(4), 77 and 79).
REMEDIES = say(
    "You may complain to the data protection authority where you live, where you work or where it happened, and you "
    "may go to court."
)


@dataclass(frozen=True)
class Request:
    """A request as far as its clock goes; days in the shop's zone. `paused_days` are those that did not count."""

    right: Right
    received_on: date
    state: State = State.OPEN
    extended_on: date | None = None
    paused_on: date | None = None  # the clock stands still since then
    paused_days: int = 0


def law_of(chosen: str, country: str) -> Law:
    """Whose regulation holds: the policy's choice, or by the shop's country where it makes none."""
    return Law(chosen) if chosen else Law.UK if country == "GB" else Law.EU


def due(request: Request, is_holiday: IsHoliday) -> date | None:
    """The last day to answer, or None while the clock stands still."""
    if request.paused_on is not None:
        return None
    return _ends(request, is_holiday, extended=request.extended_on is not None)


def due_soon(request: Request, today: date, is_holiday: IsHoliday) -> bool:
    """Whether an open request must be answered within days, or is late."""
    last = due(request, is_holiday)
    return request.state is State.OPEN and last is not None and last - today <= SOON


def extend(request: Request, today: date, is_holiday: IsHoliday) -> Request:
    """Two months more, for a request that is complex or one of many. Raises Refused after the first month.

    The reason is told to the person in the same deed (GDPR Art. 12(3), second and third sentence).
    """
    _must_be_open(request)
    if request.extended_on is not None:
        raise Refused(say("The time was extended once already; there is no second time."))
    if request.paused_on is None and today > _ends(request, is_holiday, extended=False):
        raise Refused(say("The first month is over. An extension is told within it (Art. 12(3) GDPR)."))
    return replace(request, extended_on=today)


def stop(request: Request, law: Law, today: date) -> Request:
    """Let the clock stand still while the shop waits to learn who asks, or about what. Raises Refused."""
    _must_be_open(request)
    if law is not Law.UK:
        raise Refused(
            say("The clock stands still under United Kingdom law only (UK GDPR Art. 12A). Extend the time instead.")
        )
    if request.paused_on is not None:
        raise Refused(say("The clock stands still already."))
    return replace(request, paused_on=today)


def go_on(request: Request, today: date) -> Request:
    """What was asked back has come: the clock goes on. Raises Refused where it does not stand still."""
    _must_be_open(request)
    if request.paused_on is None:
        raise Refused(say("The clock does not stand still."))
    days = max((today - request.paused_on).days, 0)
    return replace(request, paused_on=None, paused_days=request.paused_days + days)


def settle(request: Request, state: State) -> Request:
    """Answered: done or refused. Raises Refused where it was settled before."""
    _must_be_open(request)
    return replace(request, state=state)


def right(typed: str) -> Right:
    """The right that was chosen in a form. Raises Unfit."""
    if typed not in list(Right):
        raise Unfit("right", say("Please choose what is asked for."))
    return Right(typed)


def through(typed: str, *, by_person: bool) -> Through:
    """How it came, as chosen in a form; on their page only the person enters one. Raises Unfit."""
    if typed not in (tuple(Through) if by_person else BY_STAFF):
        raise Unfit("through", say("Please choose how it came."))
    return Through(typed)


def _ends(request: Request, is_holiday: IsHoliday, *, extended: bool) -> date:
    return answer_due(request.received_on, is_holiday, extended=extended, paused_days=request.paused_days)


def _must_be_open(request: Request) -> None:
    if request.state is not State.OPEN:
        raise Refused(say("This request was settled already: {state}.", state=STATE_WORDS[request.state]))

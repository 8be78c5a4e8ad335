"""How the shop tried to reach a customer about one device, as a page for paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.actions.desk import find
from portal.rules.conversation import OUTCOME_WORDS, WRITER_WORDS, Outcome, Writer
from portal.rules.formal_notices import KIND_WORDS, Kind
from portal.rules.messages import channel_words
from portal.rules.outcomes import outcome_words
from portal.rules.sentences import Sentence, say
from portal.store import attempts as store
from portal.store.attempts import Attempt
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.page import STATE_WORDS, message_words
from portal.web.request_context import connection, desk, speaking


@dataclass(frozen=True)
class Line:
    """One attempt in words. `what` is the message's, None for a call; `said` what the other side, or we, said."""

    at: datetime
    how: Sentence
    whom: Sentence | None
    what: Sentence | None
    came: Sentence
    said: str
    by: str


@dataclass(frozen=True)
class AttemptsPrint:
    """All that the page shows."""

    ticket: Ticket
    lines: Sequence[Line]
    made_at: datetime
    sheet: str = "docket-a4"
    warnings: Sequence[Sentence] = ()


@blueprint.get("/<number>/attempts")
def attempts(number: str) -> ResponseReturnValue:
    """The page; it reads from the first attempt to the last."""
    ticket = find(connection(), number)
    lines = [_line(each) for each in store.attempts(connection(), ticket)]
    return render_template("print/attempts.html", page=AttemptsPrint(ticket, lines, desk().clock.now()))


def _line(attempt: Attempt) -> Line:
    if attempt.event == store.POSTED:
        words = say("{letter}, posted on {day}", letter=KIND_WORDS[Kind(attempt.came)], day=attempt.posted_on)
        how, owner = channel_words(attempt.channel), WRITER_WORDS[Writer.OWNER]
        return Line(attempt.at, how, owner, None, words, attempt.said, attempt.by)
    is_call = not attempt.event
    return Line(
        at=attempt.at,
        how=channel_words(attempt.channel),
        whom=WRITER_WORDS[Writer(attempt.role)] if attempt.role else None,
        what=None if is_call else message_words(attempt.event),
        came=OUTCOME_WORDS[Outcome(attempt.came)] if is_call else STATE_WORDS[attempt.came],
        said=attempt.said if is_call else speaking().say(outcome_words(attempt.said)),
        by=attempt.by,
    )

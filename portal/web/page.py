"""What every template may use: words in the page's language, dates in the shop's time, and nothing that decides."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from babel import Locale
from flask import Flask

from portal.markup import paragraphs
from portal.rules.journal_words import BENCH_ENDINGS
from portal.rules.messages import channel_words
from portal.rules.numbers import spoken
from portal.rules.outcomes import outcome_words
from portal.rules.sentences import Sentence, say
from portal.rules.stages import HOLD_WORDS
from portal.web.request_context import desk, policy, speaking

BY_WORDS = {
    "staff": say("staff"),
    "customer": say("the customer"),
    "clock": say("the clock"),
    "command": say("by command"),
}
STATE_WORDS = {
    "waiting": say("waiting to be sent"),
    "claimed": say("being sent"),
    "sent": say("sent"),
    "unknown": say("sent, but the line broke; it is looked at again"),
    "failed": say("could not be delivered"),
    "withdrawn": say("withdrawn, no longer true"),
    "expired": say("too late, not sent"),
}
_PLAIN_YEAR = timedelta(days=300)
_MESSAGES = {
    "taken_in": say("Told: taken in"),
    "stage_reached": say("Told: stage reached"),
    "noted": say("Told: a note"),
    "answered": say("Told: an answer"),
    "ended": say("Told: handed over"),
    "link_again": say("Link sent again"),
    "question_put": say("Asked: a question about money"),
    "question_reminder": say("Asked once more"),
    "question_answered": say("Told: the answer, for their keeping"),
    "question_lapsed": say("Told: no answer in time"),
    "question_withdrawn": say("Told: the question is withdrawn"),
    "cancelled": say("Told: cancelled, and what follows"),
    "refund_overdue": say("Told the keeper: something to give back is overdue"),
    "price_agreed": say("Told: what was agreed about the price"),
    "question_code": say("A code for an answer"),
    "sign_off_wanted": say("Told the keeper: to sign off"),
    "own_data_code": say("A code for their own data"),
    "request_told": say("Told: their request about personal data"),
    "request_waits": say("Told the keeper: a request about personal data"),
    "window_moved": say("Told: it takes longer"),
    "ready": say("Told: ready"),
    "ready_undone": say("Told: not ready after all"),
    "handed_over_without_code": say("Told: handed over without the code"),
    "reopened": say("Told: here after all"),
    "posted": say("Told: posted"),
    "parcel_came_back": say("Told: the parcel came back"),
    "uncollected": say("Told: ready and not collected"),
    "let_through": say("Told the keeper: let through"),
    "complained": say("Told the keeper: a complaint"),
    "complaint_answered": say("Told: the answer to the complaint"),
    "fault_compared": say("Told: whether it is the same fault"),
}


def add_to_templates(app: Flask) -> None:
    """Give the templates their filters, globals and the i18n extension."""
    environment = app.jinja_env
    environment.add_extension("jinja2.ext.i18n")
    environment.install_gettext_callables(_gettext, _ngettext, newstyle=True)  # type: ignore[attr-defined]
    environment.filters.update(
        say=lambda sentence: speaking().say(sentence),
        words=lambda texts: speaking().words(texts),
        moment=lambda at: speaking().moment(at),
        money=lambda minor, currency: speaking().money(minor, currency),
        decimal=lambda number: speaking().decimal(number),
        day=lambda day: speaking().day(day),
        between=lambda days: speaking().between(days.first, days.last),
        since=since,
        lately=lately,
        number=spoken,
        day_of=lambda at: speaking().day(speaking().local(at).date()),
        language_name=language_name,
        hold_words=HOLD_WORDS.__getitem__,
        ending_words=BENCH_ENDINGS.__getitem__,
        by_words=BY_WORDS.__getitem__,
        message_words=message_words,
        channel_words=channel_words,
        outcome_words=outcome_words,
        state_words=STATE_WORDS.__getitem__,
        machine=machine,
        paragraphs=paragraphs,
    )
    environment.globals.update(speaking=speaking, policy=policy)


def since(at: datetime, now: datetime) -> str:
    """How long ago, roughly, in the page's language."""
    if now - at < timedelta(minutes=1):
        return speaking().gettext("less than a minute")
    return speaking().span(at, now)


def lately(at: datetime) -> str:
    """Day and hour in the shop's zone; the year only where it is not plain which one is meant."""
    near = abs(desk().clock.now() - at) < _PLAIN_YEAR
    return speaking().stamp(at) if near else speaking().moment(at)


def message_words(event: str) -> Sentence:
    """What a message of this event told."""
    return _MESSAGES.get(event) or Sentence(event)


def language_name(tag: str) -> str:
    """A language's own name for itself."""
    return (Locale.parse(tag, sep="-").get_display_name(tag.replace("-", "_")) or tag).capitalize()


def machine(at: datetime | date) -> str:
    """The `datetime` attribute of a time element."""
    return at.isoformat(timespec="seconds") if isinstance(at, datetime) else at.isoformat()


def say_all(sentences: tuple[Sentence, ...]) -> list[str]:
    """Sentences of the rules in the page's language."""
    return [speaking().say(sentence) for sentence in sentences]


def _gettext(text: str) -> str:
    return speaking().gettext(text)


def _ngettext(one: str, many: str, count: int) -> str:
    return speaking().ngettext(one, many, count)

"""The shop's figures as pictures: rows of bars with their words, the same as a table and as a file.

A picture is plain: columns with a label each, and rows with a count a column. Whoever draws it needs nothing more.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from portal.actions.figures import Year
from portal.rules.figures import AGE_EDGES, EDGES, Measure, age_bucket
from portal.rules.questions import State
from portal.rules.sentences import Sentence, say
from portal.rules.stages import HOLD_WORDS, Hold
from portal.web.request_context import desk, policy, speaking

_OUTCOMES = {
    State.AGREED: say("yes"),
    State.DECLINED: say("no"),
    State.LAPSED: say("no answer"),
    State.WITHDRAWN: say("taken back"),
    State.PUT: say("still open"),
}
_KEPT_WORDS = (
    say("a week early, or more"),
    say("2 to 6 days early"),
    say("a day early"),
    say("on the day"),
    say("a day late"),
    say("2 to 6 days late"),
    say("a week late, or more"),
)
_TOLD_WORDS = {"arrived": say("arrived, as far as anybody knows"), "failed": say("did not arrive")}


@dataclass(frozen=True)
class Row:
    """A row of bars."""

    label: str
    counts: Sequence[int]
    note: str = ""  # what the bars say, in words

    @property
    def most(self) -> int:
        """The longest bar's count; at least 1, to divide by."""
        return max(1, *self.counts)


@dataclass(frozen=True)
class Picture:
    """What is shown together. `over_time`: a column is a week; then all rows have one scale."""

    key: str
    title: Sentence
    hint: Sentence
    columns: Sequence[str]
    rows: Sequence[Row]
    over_time: bool = False

    @property
    def empty(self) -> bool:
        """Whether there is nothing to show yet."""
        return not any(any(row.counts) for row in self.rows)

    def most(self, row: Row) -> int:
        """What the longest bar of a row stands for."""
        return max(each.most for each in self.rows) if self.over_time else row.most


def pictures(year: Year) -> list[Picture]:
    """All of them."""
    return [make(year) for make in _ALL.values()]


def picture(key: str, year: Year) -> Picture | None:
    """The one with this key, or None."""
    return _ALL[key](year) if key in _ALL else None


def _stay(year: Year) -> Picture:
    stages = [(key, label) for key, label in _stages(year, Measure.STAY) if not key.startswith("hold:")]
    holds = [(f"hold:{hold.value}", speaking().say(HOLD_WORDS[hold])) for hold in Hold]
    labels = _ranges(EDGES[Measure.STAY])
    rows = [
        Row(label, counts, _half(counts, labels))
        for name, label in (*stages, *holds)
        if any(counts := _buckets(year, Measure.STAY, name))
    ]
    hint = say("In open hours, of repairs that ended within a year. Time on hold counts for the hold alone.")
    return Picture("stay", say("How long devices stay"), hint, labels, rows)


def _here(year: Year) -> Picture:
    rows = [
        Row(label, counts, _this_week(counts))
        for key, label in _stages(year, Measure.HERE)
        if any(counts := _weeks(year, Measure.HERE, key))
    ]
    hint = say("At the beginning of each week.")
    return Picture("here", say("What is here"), hint, _week_labels(year), rows, over_time=True)


def _age(year: Year) -> Picture:
    now = desk().clock.now()
    rows = []
    for stage in policy().stages:
        counts = [0] * (len(AGE_EDGES) + 1)
        for way in year.open.values():
            if way.steps[-1].stage == stage.key:
                counts[age_bucket((now - way.steps[0].at).total_seconds() / 86_400)] += 1
        if any(counts):
            rows.append(Row(speaking().words(stage.label), counts, _number(sum(counts))))
    hint = say("Days since it came in, by the stage in which it is now.")
    return Picture("age", say("How old open repairs are"), hint, _ranges(AGE_EDGES), rows)


def _kept(year: Year) -> Picture:
    labels = [speaking().say(words) for words in _KEPT_WORDS]
    counts = _buckets(year, Measure.KEPT, "")
    row = Row(speaking().gettext("Promised by hand"), counts, _number(sum(counts)))
    hint = say("The day that was promised last, against the day it was ready.")
    return Picture("kept", say("Promised and kept"), hint, labels, [row])


def _asked(year: Year) -> Picture:
    labels = [speaking().say(words) for words in _OUTCOMES.values()]
    counts = [year.counts.get((None, Measure.ASKED, state.value, 0), 0) for state in _OUTCOMES]
    row = Row(speaking().gettext("Questions about money"), counts, _number(sum(counts)))
    return Picture(
        "asked", say("What customers were asked"), say("Put within a year, and how it ended."), labels, [row]
    )


def _answer(year: Year) -> Picture:
    labels, counts = _ranges(EDGES[Measure.ANSWER]), _buckets(year, Measure.ANSWER, "")
    row = Row(speaking().gettext("Yes or no"), counts, _half(counts, labels))
    return Picture("answer", say("How long customers take to answer"), say("In hours, night and day."), labels, [row])


def _told(year: Year) -> Picture:
    rows = [
        Row(speaking().say(words), counts, _number(sum(counts)))
        for name, words in _TOLD_WORDS.items()
        if any(counts := _weeks(year, Measure.TOLD, name))
    ]
    hint = say("Messages about repairs that have ended, by the week in which they were written.")
    return Picture("told", say("What was sent"), hint, _week_labels(year), rows, over_time=True)


_ALL: Mapping[str, Callable[[Year], Picture]] = {
    "stay": _stay,
    "here": _here,
    "age": _age,
    "kept": _kept,
    "asked": _asked,
    "answer": _answer,
    "told": _told,
}


def _stages(year: Year, measure: Measure) -> list[tuple[str, str]]:
    """The policy's stages in order, then those that it has no more, by their keys."""
    now = [(stage.key, speaking().words(stage.label)) for stage in policy().stages]
    known = {key for key, _label in now}
    return [*now, *((name, name) for name in _names(year, measure) if name not in known)]


def _names(year: Year, measure: Measure) -> list[str]:
    return sorted({name for _week, each, name, _bucket in year.counts if each is measure})


def _buckets(year: Year, measure: Measure, name: str) -> list[int]:
    return [year.counts.get((None, measure, name, each), 0) for each in range(len(EDGES[measure]) + 1)]


def _weeks(year: Year, measure: Measure, name: str) -> list[int]:
    return [year.counts.get((week, measure, name, 0), 0) for week in year.weeks]


def _week_labels(year: Year) -> list[str]:
    return [speaking().day(week) for week in year.weeks]


def _ranges(edges: Sequence[float]) -> list[str]:
    shown = [speaking().decimal(Decimal(str(edge))) for edge in edges]
    between = [f"{low}–{high}" for low, high in itertools.pairwise(shown)]
    return [
        speaking().say(say("under {edge}", edge=shown[0])),
        *between,
        speaking().say(say("{edge} and more", edge=shown[-1])),
    ]


def _half(counts: Sequence[int], labels: Sequence[str]) -> str:
    """In which bucket the middle one lies."""
    total, seen = sum(counts), 0
    for count, label in zip(counts, labels, strict=True):
        seen += count
        if 2 * seen >= total > 0:
            return speaking().say(say("{total} in all; the one in the middle: {label}", total=total, label=label))
    return ""


def _number(total: int) -> str:
    return speaking().say(say("{total} in all", total=total))


def _this_week(counts: Sequence[int]) -> str:
    return speaking().say(say("{latest} this week, {most} at most", latest=counts[-1], most=max(counts)))

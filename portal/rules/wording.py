"""The shop's own words for a message: plain text with `{placeholders}` from a fixed list, checked before it is kept.

No template language: a placeholder is a name between braces and nothing else, and what is put in for it is never read
for placeholders again. Whatever cannot be said in the shop's own words goes out in the words that the program brings.
"""

from __future__ import annotations

import difflib
import re
import textwrap
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from portal.rules import sms
from portal.rules.sentences import Sentence, say
from portal.rules.text import is_unseen

_PLACEHOLDER = re.compile(r"\{([^{}\n]*)\}")
_BETWEEN_PARAGRAPHS = re.compile(r"\n(?:[ \t]*\n)+")


class Part(StrEnum):
    """A part of a message that has words of its own. The HTML of a mail is made from its text."""

    SUBJECT = "subject"
    TEXT = "text"
    SMS = "sms"
    PUSH = "push"
    SAY = "say"


PART_WORDS: Mapping[Part, Sentence] = {
    Part.SUBJECT: say("Subject of the mail"),
    Part.TEXT: say("Text of the mail"),
    Part.SMS: say("Text message"),
    Part.PUSH: say("Notice on a device"),
    Part.SAY: say("To say on the telephone"),
}
# Characters as typed. A subject longer than a line of a mail's head is cut by the programs that show it (RFC 5322
# 2.1.1: 78); the others are bounds against slips.
MOST: Mapping[Part, int] = {Part.SUBJECT: 78, Part.TEXT: 4000, Part.SMS: 600, Part.PUSH: 300, Part.SAY: 1000}


# What a notice may name, which lies open on a locked phone: no name, no device, no amount, no code, nobody's words.
OPEN_TO_ALL = (
    "shop",
    "shop_briefly",
    "shop_phone",
    "number",
    "count",
    "stage",
    "ready_since",
    "posted_on",
    "answer_by",
    "days",
)
BRIEF = 24  # characters of the shop's name in a text message


@dataclass(frozen=True)
class Placeholder:
    """What may stand between braces: what it says, an example, and whether there is always something to say."""

    name: str
    says: Sentence
    example: Sentence
    always: bool = True


@dataclass(frozen=True)
class Occasion:
    """An event as far as its words differ: an event that is told in several ways has an occasion for each.

    `placeholders` are those that its words may name; `must` says which ones a part must name. What is `for_staff` goes
    by mail only, and is read in the shop's first language.
    """

    event: str
    key: str
    title: Sentence
    placeholders: Mapping[str, Placeholder]
    must: Mapping[Part, Collection[str]]
    for_staff: bool = False

    @property
    def name(self) -> tuple[str, str]:
        """What it is known by: event and key."""
        return self.event, self.key


@dataclass(frozen=True)
class Fault:
    """What is wrong with a part, in which of its lines (from 1). A `warning` may be kept all the same."""

    part: Part
    line: int
    reason: Sentence

    def sentence(self) -> Sentence:
        """The fault with its place."""
        return say("{part}, line {line}: {reason}", part=PART_WORDS[self.part], line=self.line, reason=self.reason)


@dataclass(frozen=True)
class Said:
    """A piece of filled words: what it says, and the placeholder it stands for ("" for the shop's own letters)."""

    text: str
    placeholder: str = ""


Paragraph = tuple[Said, ...]


def as_typed(typed: str) -> str:
    """Words as they come from a form, with one kind of line break and without space at their edges.

    Signs that nobody sees stay in them, so that `check` tells of them.
    """
    lines = typed.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ").split("\n")
    return "\n".join(line.rstrip(" ") for line in lines).strip("\n")


def check(occasion: Occasion, part: Part, words: str) -> list[Fault]:
    """Every fault of a part's words, in the order of its lines; empty words stand for those of the program."""
    if not words.strip():
        return []
    faults = [
        Fault(part, number, reason)
        for number, line in enumerate(words.split("\n"), 1)
        for reason in _faults_of_line(occasion, part, line)
    ]
    faults += [Fault(part, line, reason) for line, reason in _faults_of_whole(occasion, part, words)]
    return sorted(faults, key=lambda fault: fault.line)


def filled(part: Part, words: str, values: Mapping[str, str]) -> tuple[Paragraph, ...]:
    """The words with the values in their places, by paragraphs; () where the program's own words must go out instead.

    In a mail's text a paragraph that names something of which there is nothing to say is left out. Any other part is
    one line: there its whole is given up. The same holds for a placeholder that is unknown by now.
    """
    if any(name not in values for name in named(words)):
        return ()
    whole = [words.strip()] if part is Part.TEXT else [" ".join(words.split())]
    paragraphs = _BETWEEN_PARAGRAPHS.split(whole[0]) if part is Part.TEXT else whole
    said = [tuple(_pieces(each, values)) for each in paragraphs if all(values[name] for name in named(each))]
    return tuple(paragraph for paragraph in said if paragraph)


def as_text(paragraphs: Collection[Paragraph]) -> str:
    """Filled words as plain text."""
    return "\n\n".join("".join(each.text for each in paragraph) for paragraph in paragraphs)


def named(words: str) -> list[str]:
    """The placeholders that words name, in their order."""
    return _PLACEHOLDER.findall(words)


def dear(text: str) -> Sentence | None:
    """The warning for a text message that goes out as several, or None. `text` is filled in."""
    cost = sms.cost(text)
    if cost.segments <= 1:
        return None
    if strange := sms.outside_alphabet(text):
        return say(
            "The text message makes {segments} texts, each of them paid for: {signs} leaves each of them room for only "
            "70 signs.",
            segments=cost.segments,
            signs=" ".join(strange),
        )
    return say(
        "The text message makes {segments} texts, each of them paid for: it has {units} signs, and 160 fit into one.",
        segments=cost.segments,
        units=cost.units,
    )


def _faults_of_line(occasion: Occasion, part: Part, line: str) -> Iterator[Sentence]:
    for name in named(line):
        if name not in occasion.placeholders:
            yield _unknown(name, occasion.placeholders)
        elif part is Part.PUSH and name not in OPEN_TO_ALL:
            yield say("{name} does not belong into a notice, which others may see on the phone.", name=in_braces(name))
    if "{" in (rest := _PLACEHOLDER.sub("", line)):
        yield say("A brace is opened and not closed.")
    if "}" in rest:
        yield say("A brace is closed that was not opened.")
    for sign in sorted({letter for letter in line if is_unseen(letter)}):
        yield say("There is a sign in it that cannot be seen ({code}).", code=f"U+{ord(sign):04X}")


def _unknown(name: str, known: Collection[str]) -> Sentence:
    if like := next(iter(difflib.get_close_matches(name.strip().casefold(), list(known), 1, 0.6)), ""):
        return say("There is no {name} here. Is {like} meant?", name=in_braces(name), like=in_braces(like))
    return say("There is no {name} here. See the list of what may stand between braces.", name=in_braces(name))


def _faults_of_whole(occasion: Occasion, part: Part, words: str) -> Iterator[tuple[int, Sentence]]:
    last = words.count("\n") + 1
    if len(words) > MOST[part]:
        yield last, say("It has {length} signs; at most {most} fit.", length=len(words), most=MOST[part])
    if part is not Part.TEXT and "\n" in words.strip():
        yield last, say("It is one line.")
    there = set(named(words))
    for name in sorted(set(occasion.must.get(part, ())) - there):
        yield last, say("{name} is missing: {says}.", name=in_braces(name), says=occasion.placeholders[name].says)
    if part is Part.TEXT:
        yield from _at_risk(occasion, words)


def _at_risk(occasion: Occasion, words: str) -> Iterator[tuple[int, Sentence]]:
    """What must be said stands in no paragraph that may be left out for the sake of something else."""
    must, line = set(occasion.must.get(Part.TEXT, ())), 1
    for place, piece in enumerate(re.split(f"({_BETWEEN_PARAGRAPHS.pattern})", words)):
        names = [name for name in named(piece) if name in occasion.placeholders] if place % 2 == 0 else []
        for name in names:
            others = [each for each in names if each != name and not occasion.placeholders[each].always]
            if name in must and others:
                yield (
                    line,
                    say(
                        "{name} must always be said, and this paragraph is left out where there is no {other}. "
                        "Give each a paragraph of its own.",
                        name=in_braces(name),
                        other=in_braces(others[0]),
                    ),
                )
        line += piece.count("\n")


def briefly(name: str) -> str:
    """The shop's name as it fits into a text message: whole words, as many as there is room for."""
    return textwrap.shorten(name, BRIEF, placeholder="") or name[:BRIEF]


def in_braces(name: str) -> str:
    """A placeholder as it is typed."""
    return f"{{{name}}}"


def _pieces(words: str, values: Mapping[str, str]) -> Iterator[Said]:
    """One pass: what a value brings is never looked at again."""
    end = 0
    for found in _PLACEHOLDER.finditer(words):
        if found.start() > end:
            yield Said(words[end : found.start()])
        yield Said(values[found[1]], found[1])
        end = found.end()
    if end < len(words):
        yield Said(words[end:])

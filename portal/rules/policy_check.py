"""Every fault of a policy at once, each with its path in the file, what was found and what is allowed."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from portal.rules.policy import Policy
from portal.rules.policy_across import Found, across
from portal.rules.policy_faults import in_words
from portal.rules.sentences import Sentence, say

LONGEST = 400_000  # characters; ten times a long policy
_POSITION = re.compile(r"^(?P<what>.*) \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)$", re.S)
# What the TOML reader says → what was found, what TOML allows there. The first that fits counts.
_SYNTAX: Sequence[tuple[str, Sentence, Sentence]] = (
    ("Expected '=' after a key", say("a key without “=”"), say("lines like key = value")),
    ("Cannot overwrite a value", say("a key that stands twice"), say("each key once in its table")),
    ("Cannot declare", say("a table that is opened twice"), say("each [table] once; lists of tables as [[table]]")),
    ("Unclosed array", say("a list without its end"), say("a list in {signs}", signs="[ ]")),
    ("Unclosed inline table", say("a table without its end"), say("a table in {signs}", signs="{ }")),
    ("Unterminated string", say("a text without its end"), say('a text between straight quotes, like "this"')),
    ("Illegal character '\\n'", say("a text without its end"), say('a text between straight quotes, like "this"')),
    ("Unescaped '\\\\'", say("a lone backslash in a text"), say("two backslashes for one")),
    ("Expected ']", say("a table’s name without its end"), say("[name], or [[name]] for one of a list")),
    (
        "Expected newline or end of document after a statement",
        say("something after the value"),
        say("one key = value on a line; times as 09:00:00, dates as 2026-12-24"),
    ),
    (
        "Invalid value",
        say("no value that can be read"),
        say("a text between straight quotes, a number, true or false, a time as 09:00:00, a date as 2026-12-24"),
    ),
)
_NOT_TOML = (say("something that TOML does not allow here"), say("key = value, [table], [[list of tables]], # remark"))


@dataclass(frozen=True)
class Fault:
    """One fault. `path` is its place in the file, as `stages[2].enter[0].gate`, counted from 0; "" for the whole.

    `within` is the key of the stage, kind or other thing it lies in, or "". Faults of the syntax have a line and a
    column, counted from 1, instead of a path.
    """

    path: str
    found: Sentence
    allowed: Sentence
    within: str = ""
    line: int | None = None
    column: int | None = None

    def sentence(self) -> Sentence:
        """The whole fault, to show."""
        return say(
            "{place}: found {found}. Allowed: {allowed}.", place=self._place(), found=self.found, allowed=self.allowed
        )

    def __str__(self) -> str:
        return str(self.sentence())

    def _place(self) -> Sentence:
        if self.line is not None:
            return say("Line {line}, column {column}", line=self.line, column=self.column)
        if self.within:
            return say("{path} (in “{key}”)", path=self.path, key=self.within)
        return say("{path}", path=self.path) if self.path else say("The policy")


def check(text: str) -> list[Fault]:
    """Every fault of a policy written as TOML, in the order of the file's parts; none means that it can be loaded.

    Where the text is no TOML there is one fault only: the first that its reader met.
    """
    if len(text) > LONGEST:
        return [Fault("", say("{length} characters", length=len(text)), say("at most {most}", most=LONGEST))]
    if any("\ud800" <= letter <= "\udfff" for letter in text):
        return [Fault("", say("half a character"), say("text in UTF-8"))]
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        return [_syntax_fault(text, str(fault))]
    except RecursionError:
        return [Fault("", say("lists within lists without end"), say("as many levels as the default policy has"))]
    return check_document(document)


def check_document(document: Mapping[str, Any]) -> list[Fault]:
    """The same for a document that has been read from TOML."""
    findings: list[Found] = list(across(document))
    try:
        Policy.model_validate(document)
    except ValidationError as invalid:
        told = {finding.loc for finding in findings}
        for error in invalid.errors(include_url=False):
            if error["loc"] or not findings:  # what holds for the whole document has been found with its place
                findings += [one for one in in_words(error) if one.loc not in told]
    places = {name: place for place, name in enumerate(document)}
    findings.sort(key=lambda one: places.get(str(one.loc[0]), -1) if one.loc else -1)
    return [Fault(path(one.loc), one.found, one.allowed, _within(document, one.loc)) for one in findings]


def path(loc: Sequence[str | int]) -> str:
    """A place in the document as people write it: ("stages", 2, "enter", 0, "gate") → "stages[2].enter[0].gate"."""
    written = ""
    for step in loc:
        written += f"[{step}]" if isinstance(step, int) else f".{step}" if written else step
    return written


def _within(document: Any, loc: Sequence[str | int]) -> str:
    """The key of the innermost thing that has one, on the way to the place."""
    found = ""
    for step in loc[:-1]:
        try:
            document = document[step]
        except (KeyError, IndexError, TypeError):
            return found
        key = document.get("key") if isinstance(document, dict) else None
        found = key if isinstance(key, str) else found
    return found


def _syntax_fault(text: str, message: str) -> Fault:
    position = _POSITION.match(message)
    what = position["what"] if position else message
    if position and position["line"]:
        line, column = int(position["line"]), int(position["column"])
    else:
        lines = text.rstrip("\n").split("\n")
        line, column = len(lines), len(lines[-1]) + 1
    found, allowed = next(((f, a) for start, f, a in _SYNTAX if what.startswith(start)), _NOT_TOML)
    return Fault("", found, allowed, line=line, column=column)

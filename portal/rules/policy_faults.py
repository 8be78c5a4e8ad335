"""One part's fault, as the model's reader reports it, in words for a shopkeeper."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from datetime import date, datetime, time
from typing import Any

from portal.rules.policy_across import Found
from portal.rules.policy_base import KEY_PATTERN, VERSION_PATTERN, NotAllowed
from portal.rules.sentences import Sentence, say

LONGEST_SHOWN = 40  # characters of a value that are repeated in a message
_PATTERNS: Mapping[str, Sentence] = {
    KEY_PATTERN: say("1 to 40 small letters a–z, digits and _, beginning with a letter"),
    VERSION_PATTERN: say("1 to 40 letters, digits, dots and dashes, like “2026-1”"),
}
_TEXT = say("a text between straight quotes")
_LIST = say("a list in {signs}", signs="[ ]")
_TABLE = say("a table, as {example} or under its own [heading]", example="{ … }")
_TRUTH = say("true or false")
_TIME = say("a time of day, like 09:00:00")
_DATE = say("a date, like 2026-12-24")
_NUMBER = say("a number")
# What kind of value is expected, by the reader's name of the fault.
_KINDS: Mapping[str, Sentence] = {
    "string_type": _TEXT,
    "list_type": _LIST,
    "dict_type": _TABLE,
    "model_type": _TABLE,
    "model_attributes_type": _TABLE,
    "bool_type": _TRUTH,
    "bool_parsing": _TRUTH,
    "time_type": _TIME,
    "time_parsing": _TIME,
    "date_type": _DATE,
    "date_parsing": _DATE,
    "date_from_datetime_parsing": _DATE,
    "date_from_datetime_inexact": _DATE,
    "decimal_type": _NUMBER,
    "decimal_parsing": _NUMBER,
    "finite_number": _NUMBER,
    "int_type": say("a whole number"),
    "int_parsing": say("a whole number"),
    "int_from_float": say("a whole number"),
}
# What bounds a value, from the bounds that the reader tells.
_BOUNDS: Mapping[str, Callable[[Mapping[str, Any]], Sentence]] = {
    "string_too_short": lambda bounds: (
        say("a text of at least {least} characters", least=bounds["min_length"])
        if bounds["min_length"] > 1
        else say("a text that is not empty")
    ),
    "string_too_long": lambda bounds: say("at most {most} characters", most=bounds["max_length"]),
    "string_pattern_mismatch": lambda bounds: _PATTERNS.get(bounds["pattern"], say("another form")),
    "too_short": lambda bounds: say("at least {least}", least=bounds["min_length"]),
    "too_long": lambda bounds: say("at most {most}", most=bounds["max_length"]),
    "literal_error": lambda bounds: say("{names}", names=bounds["expected"].replace("'", "").replace(" or ", ", ")),
    "enum": lambda bounds: say("{names}", names=bounds["expected"].replace("'", "").replace(" or ", ", ")),
    "greater_than_equal": lambda bounds: say("{least} or more", least=bounds["ge"]),
    "less_than_equal": lambda bounds: say("{most} or less", most=bounds["le"]),
    "less_than": lambda bounds: say("less than {most}", most=bounds["lt"]),
    "greater_than": lambda bounds: say("more than {least}", least=bounds["gt"]),
}


def in_words(error: Mapping[str, Any]) -> Iterator[Found]:
    """The finding for one reported error; none for an unknown key, which is told where its table is walked."""
    kind, loc, value = error["type"], tuple(error["loc"]), error["input"]
    bounds: Mapping[str, Any] = error.get("ctx", {})
    if kind == "extra_forbidden":
        return
    if kind == "missing":
        yield Found(loc, say("nothing"), say("a value: “{key}” cannot be left out", key=str(loc[-1])))
    elif kind == "value_error":
        yield Found(loc, *_value_error(bounds["error"], value))
    elif kind == "too_short" or kind == "too_long":
        yield Found(loc, say("{count} of them", count=bounds["actual_length"]), _BOUNDS[kind](bounds))
    elif kind == "string_too_long":
        yield Found(loc, say("{length} characters", length=len(value)), _BOUNDS[kind](bounds))
    elif kind in _BOUNDS:
        yield Found(loc, shown(value), _BOUNDS[kind](bounds))
    else:
        yield Found(loc, shown(value), _KINDS.get(kind) or say("{rule}", rule=error["msg"]))


def shown(value: Any) -> Sentence:
    """A value of the document, named so that it can be found again."""
    match value:
        case bool():
            return say("true") if value else say("false")
        case str():
            cut = value if len(value) <= LONGEST_SHOWN else value[:LONGEST_SHOWN] + "…"
            return say("“{text}”", text=cut) if cut.strip() else say("an empty text")
        case int() | float():
            return say("the number {number}", number=value)
        case list():
            return say("a list")
        case dict():
            return say("a table")
        case datetime() | date() | time():
            return say("{moment}", moment=value.isoformat())
        case _:
            return say("something else")


def _value_error(error: Exception, value: Any) -> tuple[Sentence, Sentence]:
    if isinstance(error, NotAllowed):
        return error.found, error.allowed
    return shown(value), say("{rule}", rule=str(error).split("allowed is ")[-1])

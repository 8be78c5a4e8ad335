"""What every part of the policy is made of."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from datetime import time
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, StringConstraints

from portal.rules.sentences import Sentence, say

IN_EACH_LANGUAGE = "in each language"  # marks the fields whose text must stand in every language of the shop


class NotAllowed(ValueError):
    """A value that has the right shape and still does not fit: what was found, and what is allowed, for people."""

    def __init__(self, found: Sentence, allowed: Sentence) -> None:
        super().__init__(f"{found}; allowed: {allowed}")
        self.found = found
        self.allowed = allowed


def _visible(text: str) -> str:
    if any(unicodedata.category(letter) in ("Cc", "Cs") and letter != "\n" for letter in text):
        raise NotAllowed(say("a text with control characters in it"), say("letters, digits and signs that can be seen"))
    return text


def not_a_number(what: Sentence) -> Callable[[Any], Any]:
    """A check that refuses a bare number, which would be read as seconds since midnight or since 1970."""

    def refuse(value: Any) -> Any:
        if isinstance(value, (int, float)):
            raise NotAllowed(say("the number {number}", number=value), what)
        return value

    return refuse


KEY_PATTERN = r"^[a-z][a-z0-9_]{0,39}$"
VERSION_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$"
Key = Annotated[str, StringConstraints(pattern=KEY_PATTERN)]
Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200), AfterValidator(_visible)]
Passage = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000), AfterValidator(_visible)
]
TimeOfDay = Annotated[time, BeforeValidator(not_a_number(say("a time of day, like 09:00:00")))]
Words = Annotated[dict[str, Line], IN_EACH_LANGUAGE]  # language → text
Passages = Annotated[dict[str, Passage], IN_EACH_LANGUAGE]  # language → paragraph


class Part(BaseModel):
    """A part of the policy: fixed once read, and nothing in it that it does not know."""

    model_config = ConfigDict(extra="forbid", frozen=True)

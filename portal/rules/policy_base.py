"""What every part of the policy is made of."""

from __future__ import annotations

import unicodedata
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, StringConstraints

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


KEY_PATTERN = r"^[a-z][a-z0-9_]{0,39}$"
VERSION_PATTERN = r"^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$"
Key = Annotated[str, StringConstraints(pattern=KEY_PATTERN)]
Line = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200), AfterValidator(_visible)]
Passage = Annotated[
    str, StringConstraints(strip_whitespace=True, min_length=1, max_length=2000), AfterValidator(_visible)
]
Words = Annotated[dict[str, Line], IN_EACH_LANGUAGE]  # language → text
Passages = Annotated[dict[str, Passage], IN_EACH_LANGUAGE]  # language → paragraph


class Part(BaseModel):
    """A part of the policy: fixed once read, and nothing in it that it does not know."""

    model_config = ConfigDict(extra="forbid", frozen=True)

"""Why a deed was refused: always in sentences for people, each with what would help."""

from __future__ import annotations

from portal.rules.sentences import Sentence, say


class Refused(ValueError):
    """A deed that the rules do not allow; `reasons` holds every reason at once, never only the first."""

    def __init__(self, *reasons: Sentence) -> None:
        super().__init__(" ".join(str(reason) for reason in reasons))
        self.reasons = reasons


class Unfit(Refused):
    """Typed input that does not fit; `field` names the input it belongs to."""

    def __init__(self, field: str, reason: Sentence) -> None:
        super().__init__(reason)
        self.field = field


class AskFirst(Refused):
    """A deed that goes through once the person has seen the warnings and says so (`confirmed=True`)."""


def needs(field: str, what: Sentence) -> Unfit:
    """The refusal of an empty field that must not be empty."""
    return Unfit(field, say("{what} is missing. Please fill it in.", what=what))

"""What may be decided about a message that did not arrive."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from portal.rules.sentences import Sentence, say


class Decision(StrEnum):
    """What somebody decided."""

    AGAIN = "again"
    OTHERWISE = "otherwise"
    LET_BE = "let_be"


DECISION_WORDS: Mapping[Decision, Sentence] = {
    Decision.AGAIN: say("sent again"),
    Decision.OTHERWISE: say("told another way"),
    Decision.LET_BE: say("let be"),
}

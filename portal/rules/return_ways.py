"""How its owner has a device back: by coming, by sending somebody, by post."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from portal.rules.sentences import Sentence, say


class Way(StrEnum):
    """How a device goes back, as the policy names it."""

    COLLECT = "collect"
    SEND = "send"  # somebody else comes, by name
    POST = "post"


WAY_WORDS: Mapping[Way, Sentence] = {
    Way.COLLECT: say("collected by its owner"),
    Way.SEND: say("collected by somebody they send"),
    Way.POST: say("posted back"),
}

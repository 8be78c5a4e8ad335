"""What a photo shows of the device, in words."""

from __future__ import annotations

from collections.abc import Mapping

from portal.rules.sentences import Sentence, say

MOMENT_WORDS: Mapping[str, Sentence] = {
    "before": say("before the repair"),
    "after": say("after the repair"),
    "tray": say("the tray, with what was taken out"),
    "other": say("something else"),
}

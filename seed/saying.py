"""What the demo's keeper says otherwise than the program does."""

from __future__ import annotations

from collections.abc import Mapping

from portal.actions.desk import By, Desk
from portal.actions.wording import save_words
from portal.rules.wording import Part
from portal.rules.wording_occasions import OCCASIONS


def that_it_is_ready(desk: Desk, keeper: By, words: Mapping[str, Mapping[str, str]]) -> None:
    """The keeper's own words for a device that is ready, by language and part."""
    for tag, parts in words.items():
        own = {Part(part): text for part, text in parts.items()}
        save_words(desk, keeper, OCCASIONS["ready", "always"], tag, own)

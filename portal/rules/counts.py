"""Counts that people type."""

from __future__ import annotations

import re

from portal.rules.refusals import Unfit, needs
from portal.rules.sentences import say

MOST = 999  # more of one thing do not come out of one device


def parse_count(typed: str | int, *, field: str = "count") -> int:
    """A count of things, 1 to 999. Raises Unfit for none, a fraction, a negative or an absurd one."""
    text = str(typed).strip()
    if not text:
        raise needs(field, say("The count"))
    if not re.fullmatch(r"[0-9]{1,3}", text) or not 1 <= int(text) <= MOST:
        raise Unfit(field, say("“{typed}” is not a count. Allowed: 1 to {most}.", typed=text[:40], most=MOST))
    return int(text)

"""Carrying out what a customer sends about a repair."""

from __future__ import annotations

from collections.abc import Callable

from portal.rules.sentences import say
from portal.web.forms import Answer, attempt


def attempt_on_ticket(deed: Callable[[], object]) -> Answer:
    """As `attempt`; that somebody wrote into the same ticket at this very moment is said without saying what."""
    answer = attempt(deed)
    if not answer.done and not answer.reasons:
        answer.reasons = [say("Something changed at this very moment. Please look again, then send it once more.")]
    return answer

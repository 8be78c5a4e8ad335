"""Requests about personal data with their last days, as the keeper's pages and the page of today list them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from portal.actions.rights import holidays_of
from portal.rules import rights as rules
from portal.rules.rights import State
from portal.store import rights as store
from portal.store.rights import Kept
from portal.web.request_context import connection, local_today, policy


@dataclass(frozen=True)
class Shown:
    """A request with its last day (None: the clock stands still, or it is settled) and the days that are left."""

    kept: Kept
    due: date | None
    days_left: int | None


def shown(kept: Kept) -> Shown:
    """A request with its last day."""
    last = rules.due(kept.request, holidays_of(policy())) if kept.request.state is State.OPEN else None
    return Shown(kept, last, (last - local_today()).days if last else None)


def waiting() -> Sequence[Shown]:
    """The requests that wait for an answer, the soonest due first; where the clock stands still, last."""
    found = [shown(kept) for kept in store.open_ones(connection())]
    return sorted(found, key=lambda each: each.due or date.max)

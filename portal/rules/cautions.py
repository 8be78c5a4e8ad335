"""Which cautions are shown at the bench, and which of them a person has yet to acknowledge.

Once a person and wording; once more a ticket only where the ticket carries the hazard: more would be blind clicking.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from portal.rules.policy_bench import Caution, Hazard


@dataclass(frozen=True)
class Acknowledged:
    """That a person has read a caution in one wording: for one ticket, or (None) for all."""

    caution: str
    wording: str
    ticket_id: int | None


@dataclass(frozen=True)
class Shown:
    """A caution as it stands before a person. `for_ticket` when it is acknowledged for this ticket alone."""

    key: str
    text: str
    wording: str
    for_ticket: bool
    acknowledged: bool


def wording(caution: Caution) -> str:
    """A mark of the caution's words: it changes when they do, and not when the rest of the policy does."""
    return hashlib.sha256(caution.text.encode()).hexdigest()[:16]


def shown(
    cautions: Sequence[Caution],
    stage: str | None,
    kind: str,
    hazards: Collection[Hazard],
    known: Collection[Acknowledged],
    ticket_id: int,
) -> list[Shown]:
    """The cautions for a ticket in a stage, those yet to be acknowledged first, else in the policy's order."""
    found = []
    for caution in cautions:
        flagged = caution.hazard is not None and caution.hazard in hazards
        if not _concerns(caution, stage, kind) or (caution.only_flagged and not flagged):
            continue
        mark = wording(caution)
        read = Acknowledged(caution.key, mark, ticket_id if flagged else None) in known
        found.append(Shown(caution.key, caution.text, mark, flagged, read))
    return sorted(found, key=lambda each: each.acknowledged)


def _concerns(caution: Caution, stage: str | None, kind: str) -> bool:
    return (not caution.stages or stage in caution.stages) and (not caution.kinds or kind in caution.kinds)

"""What waits for the bench today: objections to records, work agreed to, soak tests over, parts late, sheets let through."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.rules.questions import State
from portal.store import journal, parts, questions, records, sheets
from portal.store.journal import Said
from portal.store.parts import Due
from portal.store.questions import Kept
from portal.store.records import Objected
from portal.store.sheets import LetThrough, Soaked
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.request_context import connection, desk, policy, speaking

SHOWN_FOR = timedelta(days=14)  # how long the keeper sees that the bench let a sheet through


@dataclass(frozen=True)
class Waiting:
    """What somebody should look at. `let_through` is for the keeper, and empty for everybody else."""

    objections: Sequence[Objected]
    again: Sequence[Said]
    soaked: Sequence[Soaked]
    late: Sequence[Due]
    agreed: Sequence[tuple[Kept, str, str]]  # with the number and the device; the work has not begun
    let_through: Sequence[LetThrough]

    @property
    def count(self) -> int:
        """How many things wait; what was let through is news, and waits for nobody."""
        return len(self.objections) + len(self.again) + len(self.soaked) + len(self.late) + len(self.agreed)


@blueprint.get("/today")
def today() -> ResponseReturnValue:
    """The page."""
    return render_template("bench/today.html", waiting=waiting(), check_words=_check_words)


def waiting() -> Waiting:
    """What waits now."""
    now = desk().clock.now()
    day = speaking().local(now).date()
    news = sheets.let_through_by_bench(connection(), now - SHOWN_FOR) if guard.me().is_keeper else []
    return Waiting(
        objections=records.objected(connection()),
        again=journal.said_since(connection(), "gone_wrong_again", now - SHOWN_FOR),
        soaked=sheets.soaked(connection(), now),
        late=[each for each in parts.due(connection()) if each.late(day)],
        agreed=[each for each in questions.waiting(connection(), State.AGREED) if each[0].started_at is None],
        let_through=[each for each in news if each.why],  # one deed writes an entry a check, its reason in the first
    )


def _check_words(soaked: Soaked) -> str:
    """The check in the policy's words for the bench; by its key where the policy has it no more."""
    kind = policy().kind(soaked.kind)
    check = kind.check(soaked.check) if kind else None
    return check.bench if check else soaked.check

"""What waits for the bench today: objections, questions about money, soak tests that are over, parts late, and news."""

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

Asked = tuple[Kept, str, str]  # a question about money, with the number and the device
SHOWN_FOR = timedelta(days=14)  # how long the keeper sees that the bench let a sheet through


@dataclass(frozen=True)
class Waiting:
    """What somebody should look at. `let_through` is for the keeper, and empty for everybody else."""

    objections: Sequence[Objected]
    again: Sequence[Said]
    soaked: Sequence[Soaked]
    late: Sequence[Due]
    agreed: Sequence[Asked]  # the work has not begun
    sent_back: Sequence[Asked]  # by the keeper, to be drafted anew
    to_sign_off: Sequence[Asked]  # for the keeper, and empty for everybody else
    let_through: Sequence[LetThrough]

    @property
    def count(self) -> int:
        """How many things wait; what was let through is news, and waits for nobody."""
        return len(self.objections) + len(self.again) + len(self.soaked) + len(self.late) + self._asked

    @property
    def _asked(self) -> int:
        return len(self.agreed) + len(self.sent_back) + len(self.to_sign_off)


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
        sent_back=[each for each in questions.waiting(connection(), State.DRAFTED) if each[0].returned_with],
        to_sign_off=questions.waiting(connection(), State.AWAITING) if guard.me().is_keeper else [],
        let_through=[each for each in news if each.why],  # one deed writes an entry a check, its reason in the first
    )


def _check_words(soaked: Soaked) -> str:
    """The check in the policy's words for the bench; by its key where the policy has it no more."""
    kind = policy().kind(soaked.kind)
    check = kind.check(soaked.check) if kind else None
    return check.bench if check else soaked.check

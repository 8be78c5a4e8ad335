"""What waits for the bench today: objections, questions about money, soak tests that are over, parts late, and news."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.rules.questions import State
from portal.rules.return_ways import Way
from portal.store import handovers, journal, parts, questions, records, sheets, wishes
from portal.store.handovers import Leaving
from portal.store.journal import Said
from portal.store.parts import Due
from portal.store.questions import Kept
from portal.store.records import Objected
from portal.store.sheets import LetThrough, Soaked
from portal.store.wishes import GivenUp
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.request_context import connection, desk, policy, speaking

Asked = tuple[Kept, str, str]  # a question about money, with the number and the device
SHOWN_FOR = timedelta(days=14)  # how long the keeper sees that the bench let a sheet through


@dataclass(frozen=True)
class Waiting:
    """What somebody should look at. `let_through` is for the keeper, and empty for everybody else.

    What comes to the counter by itself, `coming`, is only news.
    """

    objections: Sequence[Objected]
    again: Sequence[Said]
    soaked: Sequence[Soaked]
    late: Sequence[Due]
    agreed: Sequence[Asked]  # the work has not begun
    sent_back: Sequence[Asked]  # by the keeper, to be drafted anew
    to_sign_off: Sequence[Asked]  # for the keeper, and empty for everybody else
    to_post: Sequence[Leaving]
    given_up: Sequence[GivenUp]  # for the keeper, and empty for everybody else
    let_through: Sequence[LetThrough]
    coming: Sequence[Leaving]  # somebody comes for them today

    @property
    def count(self) -> int:
        """How many things wait; what was let through is news, and waits for nobody."""
        return len(self.objections) + len(self.again) + len(self.soaked) + len(self.late) + self._asked + self._leaving

    @property
    def _asked(self) -> int:
        return len(self.agreed) + len(self.sent_back) + len(self.to_sign_off)

    @property
    def _leaving(self) -> int:
        return len(self.to_post) + len(self.given_up)


@blueprint.get("/today")
def today() -> ResponseReturnValue:
    """The page."""
    return render_template("bench/today.html", waiting=waiting(), check_words=_check_words)


def waiting() -> Waiting:
    """What waits now."""
    now = desk().clock.now()
    day = speaking().local(now).date()
    leaving = handovers.leaving(connection(), day)
    news = sheets.let_through_by_bench(connection(), now - SHOWN_FOR) if guard.me().is_keeper else []
    return Waiting(
        objections=records.objected(connection()),
        again=journal.said_since(connection(), "gone_wrong_again", now - SHOWN_FOR),
        soaked=sheets.soaked(connection(), now),
        late=[each for each in parts.due(connection()) if each.late(day)],
        agreed=[each for each in questions.waiting(connection(), State.AGREED) if each[0].started_at is None],
        sent_back=[each for each in questions.waiting(connection(), State.DRAFTED) if each[0].returned_with],
        to_sign_off=questions.waiting(connection(), State.AWAITING) if guard.me().is_keeper else [],
        to_post=[each for each in leaving if each.way is Way.POST],
        given_up=wishes.given_up(connection()) if guard.me().is_keeper else [],
        coming=[each for each in leaving if each.way is not Way.POST],
        let_through=[each for each in news if each.why],  # one deed writes an entry a check, its reason in the first
    )


def _check_words(soaked: Soaked) -> str:
    """The check in the policy's words for the bench; by its key where the policy has it no more."""
    kind = policy().kind(soaked.kind)
    check = kind.check(soaked.check) if kind else None
    return check.bench if check else soaked.check

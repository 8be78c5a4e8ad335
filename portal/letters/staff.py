"""Messages to the staff: what waits for the keeper, who is often away."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.letters.told import Facts, Letterbox, StaffStillTrue, StaffTold
from portal.rules.questions import State
from portal.store import journal, questions


def _let_through(_desk: Letterbox, connection: Connection, told: StaffTold) -> Facts | Withdrawn:
    # One deed writes an entry a check, its reason in the first.
    reasons = [
        entry.text
        for entry in journal.entries(connection, told.ticket.id)
        if entry.event == "let_through" and entry.text and entry.entry <= told.facts[-1]["entry"]
    ]
    return {"why": reasons[-1]} if reasons else Withdrawn("the reason is no longer on file")


def _sign_off_wanted(desk: Letterbox, connection: Connection, told: StaffTold) -> Facts | Withdrawn:
    facts = told.facts[-1]
    kept = questions.by_ref(connection, facts["question"])
    if kept is None or kept.question.state is not State.AWAITING or kept.question.version != facts["version"]:
        return Withdrawn("the question waits for the keeper no more")
    return {
        "offer": kept.offer,
        "dearest": kept.offer.dearest(),
        "link": f"{desk.links.base_url}/shop/questions/{kept.ref}",
    }


EVENTS: Mapping[str, StaffStillTrue] = {
    "let_through": _let_through,
    "sign_off_wanted": _sign_off_wanted,
}

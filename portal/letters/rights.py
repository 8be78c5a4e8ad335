"""Messages about requests for personal data: the code for one's own, what became of a request, what waits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.actions.codes import code_of
from portal.actions.rights import holidays_of
from portal.letters.told import Facts, Letterbox, StaffStillTrue, StaffTold, StillTrue, Told
from portal.rules.policy import Policy
from portal.rules.rights import REMEDIES, RIGHT_WORDS, State, due
from portal.rules.sentences import Sentence, say
from portal.store import rights
from portal.store.rights import CODES, Kept


def _code(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    newest = CODES.newest(connection, told.visit.id)
    if newest is None or newest.ref != told.facts[-1]["challenge"] or newest.used_at:
        return Withdrawn("the code is not the newest any more")
    return {"code": code_of(desk.links.secret, newest.ref)}


def _told(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    kept = rights.by_ref(connection, told.facts[-1]["request"])
    if kept is None:
        return Withdrawn("the request is no longer on file")
    what = told.facts[-1]["what"]
    return {
        "sentences": _sentences(kept, what, told.policy),
        "words": {"extended": kept.extended_why, "refused": kept.answer, "done": _answer(kept)}.get(what, ""),
        "remedies": REMEDIES if what in ("extended", "refused") else None,
    }


def _sentences(kept: Kept, what: str, policy: Policy) -> Sequence[Sentence]:
    right, last = RIGHT_WORDS[kept.request.right], due(kept.request, holidays_of(policy))
    match what:
        case "received" if last:
            said = say("We have your request: {right}. We answer it by {day}.", right=right, day=last)
        case "extended" if last:
            said = say("Your request takes us longer: {right}. We answer it by {day}, because:", right=right, day=last)
        case "stopped":
            said = say(
                "Before we can go on with your request we must hear from you: {right}. Please answer what we asked "
                "you; until then its time stands still.",
                right=right,
            )
        case "done":
            said = say("Your request was carried out: {right}. If it was not yours, ring us at once.", right=right)
        case "refused":
            said = say("We cannot do what you asked: {right}. The reason:", right=right)
        case "lifted":
            return [say("From now on we use your data again for your repair; before, we only stored it.")]
        case _:
            said = say("We have your request: {right}.", right=right)
    return [said]


def _answer(kept: Kept) -> str:
    """What the keeper wrote; what was done on the page needs no words of theirs."""
    return kept.answer if kept.through != "page" or kept.revision > 1 else ""


def _waits(desk: Letterbox, connection: Connection, told: StaffTold) -> Facts | Withdrawn:
    kept = rights.by_ref(connection, told.facts[-1]["request"])
    last = due(kept.request, holidays_of(told.policy)) if kept else None
    if kept is None or last is None or kept.request.state is not State.OPEN:
        return Withdrawn("the request waits no more")
    return {
        "right": RIGHT_WORDS[kept.request.right],
        "due": last,
        "link": f"{desk.links.base_url}/shop/requests/{kept.ref}",
    }


EVENTS: Mapping[str, StillTrue] = {"own_data_code": _code, "request_told": _told}
STAFF_EVENTS: Mapping[str, StaffStillTrue] = {"request_waits": _waits}

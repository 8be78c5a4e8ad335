"""Messages about requests for personal data: the code for one's own, what became of a request, what waits."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.actions.codes import code_of
from portal.actions.rights import holidays_of
from portal.letters.told import Facts, Letterbox, StaffStillTrue, StaffTold, StillTrue, Told
from portal.rules.rights import REMEDIES, RIGHT_WORDS, State, due
from portal.rules.wording_occasions import EVENTS as OCCASIONS_OF
from portal.store import rights
from portal.store.rights import CODES, Kept

_TOLD = [occasion.key for occasion in OCCASIONS_OF["request_told"]]


def _code(desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    newest = CODES.newest(connection, told.visit.id)
    if newest is None or newest.ref != told.facts[-1]["challenge"] or newest.used_at:
        return Withdrawn("the code is not the newest any more")
    return {"code": code_of(desk.links.secret, newest.ref)}


def _told(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    kept, what = rights.by_ref(connection, told.facts[-1]["request"]), told.facts[-1]["what"]
    if kept is None:
        return Withdrawn("the request is no longer on file")
    return {
        "what": what if what in _TOLD else "received",
        "right": RIGHT_WORDS[kept.request.right],
        "answer_due": due(kept.request, holidays_of(told.policy)),
        "written": {"extended": kept.extended_why, "refused": kept.answer, "done": _answer(kept)}.get(what, ""),
        "remedies": REMEDIES,
        "used_from": kept.lift_on,
    }


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
        "answer_due": last,
        "link": f"{desk.links.base_url}/shop/requests/{kept.ref}",
    }


EVENTS: Mapping[str, StillTrue] = {"own_data_code": _code, "request_told": _told}
STAFF_EVENTS: Mapping[str, StaffStillTrue] = {"request_waits": _waits}

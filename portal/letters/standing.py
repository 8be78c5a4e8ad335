"""Messages about where a device stands: taken in, a stage reached, a note, the end, the link once more."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.letters.told import Facts, Letterbox, StillTrue, Told
from portal.store import journal


def _taken_in(_desk: Letterbox, _connection: Connection, told: Told) -> Facts | Withdrawn:
    if all(ticket.ending for ticket in told.tickets):
        return Withdrawn("all devices have left the shop")
    return {}


def _stage_reached(_desk: Letterbox, _connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket, reached = told.tickets[0], told.facts[-1]["stage"]
    stage = told.policy.stage(reached)
    if ticket.ending or ticket.stage != reached or stage is None:
        return Withdrawn("the device is not in that stage any more")
    return {"stage": stage, "is_ready": stage.key == told.policy.stages[-1].key}


def _noted(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    wanted = {facts["entry"] for facts in told.facts}
    ticket = told.tickets[0]
    found = journal.entries(connection, ticket.id, after=min(wanted) - 1)
    right = {int(each.data["entry"]): each.text for each in found if each.event == "corrected"}  # the newest counts
    notes = [
        right.get(entry.entry, entry.text)
        for entry in found
        if entry.entry in wanted
        and entry.text
        and entry.audience == "customer"
        and (ticket.ended_at is None or entry.at >= ticket.ended_at)
    ]
    return {"notes": notes} if notes else Withdrawn("the note is no longer on file, or its device has left the shop")


def _ended(_desk: Letterbox, _connection: Connection, told: Told) -> Facts | Withdrawn:
    ending = told.tickets[0].ending
    return {"ending": ending} if ending else Withdrawn("the handover was undone")


def _link_again(_desk: Letterbox, _connection: Connection, _told: Told) -> Facts | Withdrawn:
    return {}


EVENTS: Mapping[str, StillTrue] = {
    "taken_in": _taken_in,
    "stage_reached": _stage_reached,
    "noted": _noted,
    "ended": _ended,
    "link_again": _link_again,
}

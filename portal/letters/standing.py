"""Messages about where a device stands: taken in, a stage reached, notes and photos, the end, the link once more."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.language import language
from portal.letters.told import Facts, Letterbox, StillTrue, Told
from portal.rules.windows import REASONS, probably
from portal.store import acceptances, journal, photos, questions

_PHOTOS = ("photographed", "photo_released", "photo_pointed_out")


def _taken_in(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    if all(ticket.ending for ticket in told.tickets):
        return Withdrawn("all devices have left the shop")
    version = told.policy.terms.version if told.policy.terms else ""
    accepted = [each.at for each in acceptances.of_visit(connection, told.visit.id) if each.terms_version == version]
    return {
        "accepted_at": accepted[0] if accepted else None,
        "prices": questions.terms_of_visit(connection, told.visit.id),
    }


def _stage_reached(_desk: Letterbox, _connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket, reached = told.tickets[0], told.facts[-1]["stage"]
    stage = told.policy.stage(reached)
    if ticket.ending or ticket.stage != reached or stage is None:
        return Withdrawn("the device is not in that stage any more")
    return {"stage": stage}


def _noted(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket, found = told.tickets[0], journal.entries(connection, told.tickets[0].id)
    asked = {facts["entry"] for facts in told.facts}
    wanted = [
        entry
        for entry in found
        if entry.entry in asked
        and entry.audience == "customer"
        and (ticket.ended_at is None or entry.at >= ticket.ended_at)
    ]
    numbers = {entry.entry for entry in wanted}
    standing = [note for note in journal.notes_as_they_stand(found) if note.text and numbers & set(note.entries)]
    taken = {entry.data["photo"] for entry in wanted if entry.event in _PHOTOS}
    context = {
        "notes": [note.text for note in standing if note.entries[0] in numbers],
        "corrections": [note.text for note in standing if note.entries[0] not in numbers],
        "photos": len(taken & photos.called(connection, ticket.id).keys()),
    }
    if not any(context.values()):
        return Withdrawn("it is no longer on file, or its device has left the shop")
    return context


def _window_moved(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket, policy = told.tickets[0], told.policy
    if ticket.ending or ticket.stage == policy.stages[-1].key:
        return Withdrawn("the device is ready, or has left the shop")
    entry = next((each for each in journal.entries(connection, ticket.id, told.facts[-1]["entry"] - 1)), None)
    if entry is None or entry.event != "window_moved":
        return Withdrawn("it is no longer on file")
    because = REASONS[entry.data["because"]]
    if "first" not in entry.data:
        return {"because": because, "window": None, "days": ""}
    days = [date.fromisoformat(entry.data[name]) for name in ("first", "last")]
    words = language(told.visit.language, policy.shop.zone)
    return {"because": because, "window": probably(*days), "days": words.days_briefly(*days)}


def _ended(_desk: Letterbox, _connection: Connection, told: Told) -> Facts | Withdrawn:
    ending = told.tickets[0].ending
    return {"ending": ending} if ending else Withdrawn("the handover was undone")


def _link_again(_desk: Letterbox, _connection: Connection, _told: Told) -> Facts | Withdrawn:
    return {}


EVENTS: Mapping[str, StillTrue] = {
    "taken_in": _taken_in,
    "stage_reached": _stage_reached,
    "window_moved": _window_moved,
    "noted": _noted,
    "ended": _ended,
    "link_again": _link_again,
}

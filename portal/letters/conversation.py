"""Messages that answer what a customer wrote."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import Connection

from notifications.letters import Withdrawn
from portal.letters.told import Facts, Letterbox, StillTrue, Told
from portal.store import journal


@dataclass(frozen=True)
class Exchange:
    """What the customer wrote ("" where that is no longer on file), and the answer as it was last corrected."""

    wrote: str
    answer: str


def _answered(_desk: Letterbox, connection: Connection, told: Told) -> Facts | Withdrawn:
    ticket, found = told.tickets[0], journal.entries(connection, told.tickets[0].id)
    asked = {facts["entry"] for facts in told.facts}
    words = {entry.entry: entry for entry in found}
    exchanges = [
        Exchange(_wrote(words, note.entries[0]), note.text)
        for note in journal.notes_as_they_stand(found)
        if note.text and note.entries[0] in asked
    ]
    if not exchanges or (ticket.ended_at and all(words[entry].at < ticket.ended_at for entry in asked)):
        return Withdrawn("it is no longer on file, or its device has left the shop")
    return {"exchanges": _each_once(exchanges)}


def _wrote(words: Mapping[int, journal.Entry], answer: int) -> str:
    asked = words.get(int(words[answer].data.get("answers", 0)))
    return asked.text if asked else ""


def _each_once(exchanges: list[Exchange]) -> list[Exchange]:
    """What the customer wrote, only before the first of several answers to it."""
    return [
        Exchange("" if each.wrote in (before.wrote for before in exchanges[:place]) else each.wrote, each.answer)
        for place, each in enumerate(exchanges)
    ]


EVENTS: Mapping[str, StillTrue] = {
    "answered": _answered,
}

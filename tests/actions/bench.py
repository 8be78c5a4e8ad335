"""What the tests of the bench record share."""

from __future__ import annotations

from typing import Any

from portal.actions import collection_codes
from portal.actions.desk import Desk, find
from portal.actions.handover import Handed
from portal.actions.moves import move
from portal.rules.test_sheet import Tried
from portal.rules.tray import TrayLine
from portal.store import records, sheets, trays
from portal.store.records import Version
from tests.actions.aftermath import ticket_of
from tests.conftest import BENCH

WITHOUT_CODE = Handed(why="Known at the counter for years.")  # as by command


def with_code(desk: Desk, number: str, **more: Any) -> Handed:
    """What is typed when the owner says their code, once the device has left whatever they had."""
    with desk.reading() as connection:
        ticket = find(connection, number)
        code = "" if ticket.ending else collection_codes.first(desk, connection, ticket)
    return Handed(code=code or "ANY-0NE", **more)


def record_of(desk: Desk, number: str) -> Version | None:
    """The intake record that counts."""
    with desk.reading() as connection:
        return records.newest(connection, ticket_of(desk, number).id)


def tray_of(desk: Desk, number: str) -> list[TrayLine]:
    """The tray's lines."""
    with desk.reading() as connection:
        return trays.lines(connection, ticket_of(desk, number).id)


def sheet_of(desk: Desk, number: str) -> list[Tried]:
    """The sheet's results."""
    with desk.reading() as connection:
        return sheets.sheet(connection, ticket_of(desk, number).id)


def bring_to(desk: Desk, number: str, stage: str) -> None:
    """Move a ticket forward to a stage, through those that may not be skipped."""
    for on_the_way in ("board_work", "testing", "ready"):
        move(desk, BENCH, number, on_the_way, confirmed=True)
        if on_the_way == stage:
            return

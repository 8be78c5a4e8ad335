"""Repairs that are lived through, for tests that look back on them."""

from __future__ import annotations

from datetime import timedelta

from portal.actions import figures
from portal.actions.desk import Desk
from portal.actions.handover import hand_over
from portal.actions.intake import NewVisit, take_in
from portal.actions.moves import move
from tests.actions.bench import WITHOUT_CODE
from tests.conftest import BENCH


def one_counted_and_one_here(desk: Desk, arrival: NewVisit) -> str:
    """One repair has ended and is counted; the number of another, which is here."""
    number, other = (take_in(desk, BENCH, arrival).numbers[0] for _each in range(2))
    for stage in ("board_work", "testing", "ready"):
        desk.clock.at += timedelta(days=1)
        move(desk, BENCH, number, stage)
    desk.clock.at += timedelta(days=1)
    hand_over(desk, BENCH, number, WITHOUT_CODE)
    desk.clock.at += timedelta(days=1)
    figures.count_ended(desk, desk.clock.now())
    return other

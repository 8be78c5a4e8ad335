"""A past for ready windows, and what is kept of one."""

from __future__ import annotations

from datetime import date, timedelta
from random import Random

from portal.actions.desk import Desk, find
from portal.actions.past import take_over
from portal.rules.open_time import OpenTime
from portal.rules.past import Past as Repair
from portal.rules.stages import Ending
from portal.store import windows
from portal.store.windows import Kept
from tests.conftest import BENCH, MONDAY

DAY = 8.5 * 3600  # open seconds of one of the default shop's days


def a_past(desk: Desk, many: int = 120, days: float = 6) -> None:
    """Repairs that are over, spread over the last half year, of about so many open days each."""
    with desk.reading() as connection:
        policy = desk.policy(connection)
    calendar, random = OpenTime(policy, date(2025, 1, 1), date(2027, 1, 1)), Random(4)
    repairs = []
    for each in range(many):
        came = calendar.after(MONDAY - timedelta(days=200), each * DAY * 120 / many)
        board = calendar.after(came, random.uniform(0.3, 0.6) * days * DAY)
        ready = calendar.after(board, random.uniform(0.3, 0.6) * days * DAY)
        moves = (("board_work", board), ("ready", ready))
        repairs.append(
            Repair(each + 2, "A console", "console", "", came, moves, Ending.COLLECTED, ready, stages_known=True)
        )
    take_over(desk, BENCH, repairs, b"a past")


def kept(desk: Desk, number: str) -> Kept | None:
    with desk.reading() as connection:
        return windows.of_ticket(connection, find(connection, number).id)

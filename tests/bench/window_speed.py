"""How fast ready windows are in an old shop: `python -m tests.bench.window_speed`.

500 devices are here beside 50,000 that left. Printed is the time (of one processor) to learn the past and make all
windows, to make them from what was learned, and to make one; each also as a multiple of one convolution by numpy of two
distributions by the hour, which is what a window would cost at least if it were reckoned that way.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from random import Random

import numpy as np
from sqlalchemy import Connection, insert, update

from notifications.instants import FixedClock
from portal import resources
from portal.actions import windows
from portal.actions.desk import COMMAND, Desk
from portal.actions.shop import load_policy
from portal.main import open_installation
from portal.rules.forecast import Course
from portal.rules.numbers import with_check
from portal.rules.tokens import new_ref
from portal.store.forecast_tables import windows as table
from portal.store.tables import contacts, journal, numbers, visits
from portal.store.tables import tickets as ticket_table
from tests.bench.known_shops import LAWS, START, shop

FINISHED, OPEN, CHUNK = 50_000, 500, 5_000
HOURS = 1000  # of a distribution by the hour
ALL_AT_MOST, ONE_AT_MOST = 3.0, 0.005  # seconds
ROUNDS = 100


def main() -> int:
    """Measure, print, and tell by the status whether it is quick enough."""
    with tempfile.TemporaryDirectory() as folder:
        clock = FixedClock(START + timedelta(days=700))
        secret = {"BENCHWINDOW_SECRET_KEY": bytes(range(32)).hex()}
        house = open_installation(Path(folder), clock=clock, chooser=Random(1), environment=secret, durable=False)
        load_policy(house.desk, COMMAND, resources.default_policy().read_text(encoding="utf-8"))
        _fill(house.desk)
        whole = _timed(lambda: windows.sweep(house.desk, clock.now()))
        with house.desk.writing() as connection:
            connection.execute(update(table).values(made_for=0))
        again = _timed(lambda: windows.sweep(house.desk, clock.now()))
        one = statistics.median(_timed(partial(_renew, house.desk, FINISHED + 1 + each)) for each in range(ROUNDS))
        house.engine.dispose()
    convolution = _convolution()
    for name, took in (
        (f"learn {FINISHED:,}, make {OPEN}", whole),
        (f"make {OPEN} from what was learned", again),
        ("make one", one),
    ):
        print(f"{name:34} {took * 1000:9.2f} ms  {took / convolution:9.1f} convolutions")
    return 0 if whole <= ALL_AT_MOST and one <= ONE_AT_MOST else 1


def _renew(desk: Desk, ticket_id: int) -> None:
    with desk.writing() as connection:
        windows.renew(desk, connection, ticket_id, desk.clock.now())


def _timed(do: Callable[[], object]) -> float:
    began = time.process_time()
    do()
    return time.process_time() - began


def _convolution() -> float:
    one = np.random.default_rng(1).random(HOURS)
    return statistics.median(_timed(lambda: np.convolve(one, one)) for _ in range(ROUNDS))


def _fill(desk: Desk) -> None:
    courses = shop(LAWS[0], 1, FINISHED)
    for first in range(0, FINISHED, CHUNK):
        with desk.writing() as connection:
            _write(connection, Random(first), first + 1, courses[first : first + CHUNK])
    recent = shop(LAWS[0], 2, OPEN)
    now = desk.clock.now()
    started = [Course(each.kind, each.steps[:1], None, None) for each in recent]
    with desk.writing() as connection:
        _write(connection, Random(2), FINISHED + 1, started, now - timedelta(days=2))


def _write(
    connection: Connection, chance: Random, first: int, courses: list[Course], began: datetime | None = None
) -> None:
    rows: dict[str, list[dict[str, object]]] = {"n": [], "v": [], "c": [], "t": [], "j": []}
    for ticket_id, course in enumerate(courses, first):
        came = began or course.steps[0].at
        number = with_check(f"{1_000_000 + ticket_id}")
        left = course.ended_at or course.ready_at
        rows["n"].append({"number": number})
        rows["v"].append({"id": ticket_id, "ref": new_ref(chance), "language": "en", "made_at": came})
        may = {"may_be_told": True, "may_agree": True, "may_collect": True}
        rows["c"].append({"ref": new_ref(chance), "visit_id": ticket_id, "role": "owner"} | may)
        rows["t"].append(
            {"id": ticket_id, "ref": new_ref(chance), "number": number, "visit_id": ticket_id, "kind": "console"}
            | {"device": "", "fault": "", "stage": course.steps[-1].stage, "stage_since": came, "made_at": came}
            | {"ending": "collected" if left else None, "ended_at": left, "revision": 1}
        )
        rows["j"] += _entries(ticket_id, course, came)
    for key, into in zip(rows, (numbers, visits, contacts, ticket_table, journal), strict=True):
        connection.execute(insert(into), rows[key])


def _entries(ticket_id: int, course: Course, came: datetime) -> list[dict[str, object]]:
    """The journal of a course: a hold is entered, and left with the next step."""
    happened: list[tuple[datetime, str, dict[str, str]]] = [(came, "arrived", {"stage": course.steps[0].stage})]
    for before, step in zip(course.steps, course.steps[1:], strict=False):
        if step.hold:
            happened.append((step.at, "held", {"hold": step.hold}))
        elif before.hold:
            happened.append((step.at, "released", {}))
        else:
            happened.append((step.at, "moved", {"stage": step.stage}))
    if course.ended_at:
        happened.append((course.ended_at, "ended", {"ending": "collected"}))
    return [
        {"ticket_id": ticket_id, "entry": place, "at": at, "by_kind": "command", "event": event}
        | {"data": data, "audience": "customer"}
        for place, (at, event, data) in enumerate(happened, 1)
    ]


if __name__ == "__main__":
    sys.exit(main())

"""What has ended is counted once, before its data goes; what is open is counted as it stands."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from threading import Thread

from sqlalchemy import func, select

from portal.actions import figures
from portal.actions.desk import Desk
from portal.actions.handover import hand_over
from portal.actions.intake import NewVisit, take_in
from portal.actions.moves import hold, move
from portal.rules.figures import Measure
from portal.rules.stages import Hold
from portal.store.figures_tables import figures as table
from portal.store.tables import tickets
from tests.actions.bench import WITHOUT_CODE
from tests.conftest import BENCH


def lived(desk: Desk, number: str) -> None:
    """A repair's life, an open day a stage, with a hold for a part; it ends."""
    for stage in ("board_work", "testing", "ready"):
        desk.clock.at += timedelta(days=1)
        if stage == "testing":
            hold(desk, BENCH, number, Hold.PART.value)
            desk.clock.at += timedelta(days=1)
            hold(desk, BENCH, number, "none")
        move(desk, BENCH, number, stage)
    desk.clock.at += timedelta(days=1)
    hand_over(desk, BENCH, number, WITHOUT_CODE)


def counts(desk: Desk) -> Counter[tuple[str, str]]:
    """How many are counted, by measure and name."""
    with desk.reading() as connection:
        rows = connection.execute(
            select(table.c.measure, table.c.name, func.sum(table.c.count)).group_by(*table.c[1:3])
        )
        return Counter({(measure, name): int(total) for measure, name, total in rows})


def test_a_repair_is_counted_when_it_can_no_longer_be_undone(desk: Desk, number: str) -> None:
    lived(desk, number)
    assert figures.count_ended(desk, desk.clock.now()) == 0

    desk.clock.at += figures.SETTLED
    assert figures.count_ended(desk, desk.clock.now()) == 1

    found = counts(desk)
    assert found[(Measure.STAY, "received")] == 1
    assert found[(Measure.STAY, "hold:part")] == 1
    assert found[(Measure.STAY, "board_work")] == 1  # left for the hold, and only through it for testing
    assert found[(Measure.STAY, "ready")] == 1
    assert found[(Measure.TOLD, "arrived")] == 0  # nothing was delivered yet


def test_the_second_time_counts_nothing(desk: Desk, number: str) -> None:
    lived(desk, number)
    desk.clock.at += figures.SETTLED
    figures.count_ended(desk, desk.clock.now())
    before = counts(desk)

    assert figures.count_ended(desk, desk.clock.now()) == 0
    assert counts(desk) == before


def test_a_second_repair_is_added_to_the_first(desk: Desk, number: str, arrival: NewVisit) -> None:
    lived(desk, number)
    lived(desk, take_in(desk, BENCH, arrival).numbers[0])
    desk.clock.at += figures.SETTLED

    assert figures.count_ended(desk, desk.clock.now()) == 2
    assert counts(desk)[(Measure.STAY, "testing")] == 2


def test_two_clocks_that_count_at_once_count_each_repair_once(desk: Desk, number: str, arrival: NewVisit) -> None:
    lived(desk, number)
    for _each in range(5):
        lived(desk, take_in(desk, BENCH, arrival).numbers[0])
    desk.clock.at += figures.SETTLED

    found: list[int] = []
    clocks = [Thread(target=lambda: found.append(_counted(desk))) for _each in range(2)]
    for each in clocks:
        each.start()
    for each in clocks:
        each.join()

    while (more := figures.count_ended(desk, desk.clock.now())) > 0:
        found.append(more)
    assert sum(found) == 6
    assert counts(desk)[(Measure.STAY, "testing")] == 6


def _counted(desk: Desk) -> int:
    """As the sweep does it: what another clock was faster with is left for the next time."""
    try:
        return figures.count_ended(desk, desk.clock.now())
    except Exception:  # whatever the database says of two writers; nothing is half counted
        return 0


def test_the_years_figures_hold_what_ended_and_what_is_open(desk: Desk, number: str, arrival: NewVisit) -> None:
    lived(desk, number)
    other = take_in(desk, BENCH, arrival).numbers[0]
    desk.clock.at += timedelta(days=9)
    figures.count_ended(desk, desk.clock.now())

    with desk.reading() as connection:
        year = figures.year(desk, connection, desk.policy(connection))

    assert list(year.open) == [other]
    assert len(year.weeks) == figures.WEEKS
    assert year.weeks[-1] <= desk.clock.now().date() < year.weeks[-1] + timedelta(days=7)
    here = {(week, name): count for (week, measure, name, _b), count in year.counts.items() if measure is Measure.HERE}
    assert here[(year.weeks[-1], "received")] == 1  # the open one
    assert sum(here.values()) >= 2


def test_a_repair_that_ended_is_marked_so_that_its_purge_changes_no_figure(desk: Desk, number: str) -> None:
    lived(desk, number)
    desk.clock.at += figures.SETTLED
    figures.count_ended(desk, desk.clock.now())

    with desk.reading() as connection:
        assert connection.execute(select(tickets.c.counted_at)).scalar_one() == desk.clock.now()

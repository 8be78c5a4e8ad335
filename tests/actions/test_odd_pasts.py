"""Pasts that are not as one would wish: each gives a sensible answer, and the pages open."""

from __future__ import annotations

from datetime import date, timedelta
from random import Random

import pytest
import tomlkit

from portal.actions import windows
from portal.actions.desk import Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import move
from portal.actions.past import take_over
from portal.actions.shop import load_policy
from portal.rules.past import Past as Repair
from portal.rules.stages import Ending
from portal.rules.windows import Why
from portal.store import policies
from tests.actions.pasts import a_past, kept
from tests.conftest import BENCH, MONDAY


def swept(desk: Desk) -> None:
    assert windows.sweep(desk, desk.clock.now())[0] >= 1


def changed_policy(desk: Desk, old: str, new: str) -> None:
    """Load the newest policy with one text in the place of another."""
    with desk.reading() as connection:
        document = policies.document(connection, policies.newest(connection))
    assert document is not None
    assert old in document
    load_policy(desk, BENCH, document.replace(old, new))


def why(desk: Desk, number: str) -> Why:
    found = kept(desk, number)
    assert found is not None
    return found.why


def test_one_ticket_alone(desk: Desk, number: str) -> None:
    swept(desk)

    assert why(desk, number) is Why.THIN


def test_all_tickets_abandoned(desk: Desk) -> None:
    numbers = [take_in(desk, BENCH, NewVisit([NewDevice("Radio", "Hums")])).numbers[0] for _ in range(60)]
    for each in numbers[:-1]:
        return_unrepaired(desk, BENCH, each, "Not wanted any more.")
    swept(desk)

    found = kept(desk, numbers[-1])
    assert found is not None
    assert (found.why, found.found, found.needed) == (Why.THIN, 0, 40)


def test_a_stage_renamed_last_week_gets_its_window_from_the_next_stages_once_the_device_is_there(
    desk: Desk, number: str
) -> None:
    a_past(desk)
    changed_policy(desk, '"board_work"', '"bench_work"')
    swept(desk)
    assert why(desk, number) is Why.SHOWN  # it stands in a stage that the past knows

    move(desk, BENCH, number, "bench_work")

    assert why(desk, number) is Why.THIN  # nobody has gone through that one yet
    found = kept(desk, number)
    assert found is not None
    assert (found.found, found.needed) == (0, 20)


def test_a_stage_removed_last_week_stays_in_the_past(desk: Desk, number: str) -> None:
    a_past(desk)
    with desk.reading() as connection:
        document = tomlkit.parse(policies.document(connection, policies.newest(connection)) or "")
    stages = [stage for stage in document["stages"] if stage["key"] != "board_work"]
    document["stages"], document["cautions"] = stages, []
    load_policy(desk, BENCH, tomlkit.dumps(document))
    swept(desk)

    assert why(desk, number) is Why.SHOWN


def test_the_last_stage_renamed_last_week_loses_no_past(desk: Desk, number: str) -> None:
    a_past(desk)
    changed_policy(desk, 'key = "ready"', 'key = "to_collect"')
    swept(desk)

    assert why(desk, number) is Why.SHOWN


def test_three_weeks_closed(desk: Desk, number: str) -> None:
    a_past(desk)
    closed = '[[hours.closed]]\nfirst = 2026-03-04\nlast = 2026-03-24\nnote = { en = "Away.", de = "Fort." }\n'
    changed_policy(desk, "# The stages, in their order.", f"{closed}\n# The stages, in their order.")
    swept(desk)

    found = kept(desk, number)
    assert found is not None
    assert found.first is not None
    assert found.last is not None
    for day in (found.first, found.last, found.median):
        assert not date(2026, 3, 4) <= day <= date(2026, 3, 24)
    assert found.last > date(2026, 3, 24)


@pytest.mark.parametrize("days", [-3, 0])
def test_a_history_with_impossible_dates(desk: Desk, number: str, days: int) -> None:
    """Ready before it came, on the day it came, centuries ago, or when the shop is closed."""
    a_past(desk)
    random = Random(1)
    repairs = []
    for each in range(30):
        came = MONDAY - timedelta(days=random.choice((30, 400, 20_000)), hours=random.randrange(24))
        moves = (("board_work", came + timedelta(days=days)), ("ready", came + timedelta(days=2 * days)))
        repairs.append(Repair(each + 2, "Radio", "console", "", came, moves, Ending.COLLECTED, came, stages_known=True))
    take_over(desk, BENCH, repairs, b"impossible")
    swept(desk)

    assert why(desk, number) is Why.SHOWN


def test_a_clock_that_jumped_far_ahead_breaks_nothing(desk: Desk, number: str) -> None:
    a_past(desk)
    swept(desk)
    desk.clock.at = MONDAY + timedelta(days=3 * 365)
    swept(desk)

    assert why(desk, number) in (Why.OUTLASTED, Why.THIN)

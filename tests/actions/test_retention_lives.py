"""Random policies and random lives: no kind of data is kept past its end, and none goes before it.

GDPR (EU) 2016/679 Art. 5(1)(e), 25(2). When something goes is reckoned here by hand, day by day.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from notifications.instants import FixedClock
from portal import resources
from portal.actions import retention
from portal.actions.desk import COMMAND, Desk
from portal.actions.handover import return_unrepaired
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.shop import load_policy
from portal.links import Links
from portal.rules.periods import Period
from portal.rules.policy import Policy
from portal.rules.retention import OF_A_VISIT, REGISTER, Kept, Start
from portal.store import keeping, schema, visits
from portal.store.engine import open_engine, sqlite_url
from portal.store.photo_files import PhotoFiles
from portal.store.tables import contacts, tickets
from tests.conftest import BASE_URL, MONDAY, SECRET

LONDON = ZoneInfo("Europe/London")
DEFAULT = resources.default_policy().read_text(encoding="utf-8")


DAYS = (0, 1, 2, 13, 14, 28, 29, 30, 31, 59, 60, 89, 90, 180, 364, 365)
WRITABLE = [
    *(Period(number, "day") for number in DAYS),
    *(Period(number, "month") for number in range(73)),
    *(Period(number, "year") for number in range(11)),
]


def policies() -> st.SearchStrategy[dict[Kept, Period]]:
    """Periods of every kind within what may be defended, in all units."""
    allowed = {
        kept: [period for period in WRITABLE if not period.longer_than(entry.longest)]
        for kept, entry in REGISTER.items()
    }
    return st.fixed_dictionaries({kept: st.sampled_from(periods) for kept, periods in allowed.items()})


days_here = st.integers(0, 40)
lives = st.lists(days_here, min_size=1, max_size=3)  # the visits, by how many days their device stayed
looks = st.lists(st.integers(0, 2_400), min_size=1, max_size=6).map(sorted)  # days after the first on which to purge


def midnight_after(day: date) -> datetime:
    return datetime.combine(day + timedelta(days=1), time(), LONDON).astimezone(UTC)


def end_of(start: datetime, period: Period) -> datetime:
    """When it goes: the midnight after the last day, by the calendar of the shop."""
    first = start.astimezone(LONDON).date()
    return midnight_after(first + relativedelta(**{f"{period.unit}s": period.number}))  # type: ignore[arg-type]


def written(periods: Mapping[Kept, Period]) -> str:
    lines = "".join(f'{kept.value} = "{period}"\n' for kept, period in periods.items())
    return f"{DEFAULT}\n[retention]\n{lines}"


@settings(max_examples=25)
@given(policies(), lives, looks)
def test_nothing_is_kept_past_its_end_and_nothing_goes_before(
    tmp_path_factory, sqlite_template: Path, periods: dict[Kept, Period], stays: list[int], looks: list[int]
) -> None:
    assert "[retention]" not in DEFAULT
    assert Policy.model_validate(tomllib.loads(written(periods))).retention
    folder = tmp_path_factory.mktemp("life")
    (folder / "shop.db").write_bytes(sqlite_template.read_bytes())
    engine = open_engine(sqlite_url(folder / "shop.db"), durable=False)
    schema.upgrade(engine)
    clock = FixedClock(MONDAY)
    desk, files = Desk(engine, clock, Links(BASE_URL, SECRET), Random(1)), PhotoFiles(str(folder / "photos"))
    load_policy(desk, COMMAND, written(periods))
    try:
        ends = [one_life(desk, clock, place, stay, periods) for place, stay in enumerate(stays)]
        latest = max(clock.now(), MONDAY + timedelta(days=41))
        for later in looks:
            clock.at = latest + timedelta(days=later)
            retention.apply(desk, files, clock.now(), most=2**31)
            for visit_id, of_visit in ends:
                check(desk, visit_id, of_visit, clock.now())
    finally:
        engine.dispose()


def one_life(
    desk: Desk, clock: FixedClock, place: int, stay: int, periods: Mapping[Kept, Period]
) -> tuple[int, dict[Kept, datetime]]:
    """A device comes, stays so many days and is given back; tells its visit, and when each kind must have gone."""
    clock.at = MONDAY
    number = take_in(
        desk, COMMAND, NewVisit([NewDevice(f"Radio {place}", "Hums.", "other")], email=f"a{place}@example.org")
    ).numbers[0]
    clock.at = MONDAY + timedelta(days=stay)
    return_unrepaired(desk, COMMAND, number, "As it came.")
    with desk.reading() as connection:
        visit_id, left_at = connection.execute(
            select(tickets.c.visit_id, tickets.c.ended_at).where(tickets.c.number == number)
        ).one()
        over_at = visits.by_id(connection, visit_id).link_ends_at
    starts = {Start.LEFT: left_at, Start.WARRANTY_OVER: over_at}
    return visit_id, {kept: end_of(starts[REGISTER[kept].start], periods[kept]) for kept in OF_A_VISIT}


def check(desk: Desk, visit_id: int, ends: Mapping[Kept, datetime], now: datetime) -> None:
    with desk.reading() as connection:
        kept = set(keeping.of_visit(connection, visit_id))
        people = connection.execute(select(contacts.c.id).where(contacts.c.visit_id == visit_id)).all()
        rows = connection.execute(select(tickets.c.device, tickets.c.fault).where(tickets.c.visit_id == visit_id)).all()
    assert kept == {each for each, end in ends.items() if end > now}
    assert bool(people) == (ends[Kept.CONTACT] > now)
    if kept:
        (row,) = rows
        assert bool(row.device) == (ends[Kept.DEVICE] > now)
        assert bool(row.fault) == (ends[Kept.RECORD] > now)
    else:
        assert rows == []

"""What is erased of letters, complaints and returns: the address with where parcels went, the goods with the device."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from notifications.instants import FixedClock
from portal.actions import complaints, formal_notices, warranty
from portal.actions.desk import Desk
from portal.actions.handover import hand_over
from portal.store import bench_purge, purge
from portal.store.ending_tables import complaints as complaint_rows
from portal.store.ending_tables import formal_notices as notice_rows
from portal.store.ending_tables import warranty_returns
from tests.actions.aftermath import ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.actions.test_formal_notices import TYPED, post, put_in_force
from tests.conftest import BENCH


@pytest.fixture
def gone(desk: Desk, number: str, tmp_path: Path) -> str:
    """A device that was written about, complained about, collected, and came back."""
    put_in_force(desk)
    bring_to(desk, number, "ready")
    formal_notices.make(desk, BENCH, number, "collect", TYPED)
    post(desk, tmp_path, number, "2026-03-02")
    complaints.complain(desk, number, "It hums.")
    hand_over(desk, BENCH, number, WITHOUT_CODE, confirmed=True)
    return number


def rows(desk: Desk, table) -> list[dict]:
    with desk.reading() as connection:
        return [dict(row._mapping) for row in connection.execute(select(table))]


def test_name_and_address_go_with_where_parcels_went(desk: Desk, gone: str) -> None:
    with desk.writing() as connection:
        bench_purge.return_addresses(connection, ticket_of(desk, gone).visit_id)

    (notice,) = rows(desk, notice_rows)
    assert (notice["recipient"], notice["address"]) == ("", "")
    assert notice["goods"] == "Handheld console, blue"


def test_which_goods_they_were_goes_with_the_device(desk: Desk, gone: str) -> None:
    with desk.writing() as connection:
        purge.device_identity(connection, ticket_of(desk, gone).id)

    (notice,) = rows(desk, notice_rows)
    assert notice["goods"] == ""
    assert notice["reference"] == "RN 1234 5678 9GB"


def test_everything_goes_with_the_record_and_what_came_back_stays_by_itself(
    desk: Desk, clock: FixedClock, gone: str
) -> None:
    clock.at += timedelta(days=3)
    back = warranty.take_back_in(desk, BENCH, gone, "Hums again.").numbers[0]
    earlier, later = ticket_of(desk, gone).id, ticket_of(desk, back).id

    with desk.writing() as connection:
        bench_purge.work(connection, earlier)
        purge.record(connection, earlier)

    assert rows(desk, notice_rows) == rows(desk, complaint_rows) == []
    (link,) = rows(desk, warranty_returns)
    assert (link["ticket_id"], link["earlier_id"]) == (later, None)

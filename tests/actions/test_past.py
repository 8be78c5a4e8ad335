"""Taking over a spreadsheet: found out how it is written, all of it or nothing, once, and told to nobody."""

from __future__ import annotations

import pytest
from sqlalchemy import select

from portal.actions.desk import COMMAND, Desk
from portal.actions.past import read_table, take_over
from portal.rules.past import Columns, read_rows
from portal.rules.refusals import Refused
from portal.rules.stages import Ending, Standing
from portal.store import tickets
from portal.store.tables import tickets as table
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, journal_of, messages, ticket_of

LIST = """received;ready;ended;device;name;email
2026-01-05;2026-01-08;2026-01-12;Radio;Ada;ada@example.org
2026-02-02;;;Röhrenverstärker;Bea;bea@example.org
"""


def import_list(desk: Desk, content: bytes) -> int:
    headings, rows = read_table(content)
    with desk.reading() as connection:
        policy = desk.policy(connection)
    good, bad = read_rows(rows, Columns({heading: heading for heading in headings}), policy, desk.clock.now())
    assert bad == []
    return take_over(desk, COMMAND, good, content)


def numbers(desk: Desk) -> list[str]:
    with desk.reading() as connection:
        return list(connection.execute(select(table.c.number).order_by(table.c.id)).scalars())


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("sign", [";", ",", "\t"])
def test_encoding_and_delimiter_are_found_out(encoding: str, sign: str) -> None:
    headings, rows = read_table(LIST.replace(";", sign).encode(encoding))

    assert headings == ["received", "ready", "ended", "device", "name", "email"]
    assert [(line, cells["device"]) for line, cells in rows] == [(2, "Radio"), (3, "Röhrenverstärker")]


@pytest.mark.parametrize("content", [b"", b"\n\n", b"received;ended\n", b"\xff\xfe\x00"])
def test_a_file_with_nothing_in_it_is_refused(content: bytes) -> None:
    with pytest.raises(Refused):
        read_table(content)


def test_the_past_and_what_still_lies_here_are_taken_over(desk: Desk) -> None:
    assert import_list(desk, LIST.encode()) == 2

    over, here = (ticket_of(desk, number) for number in numbers(desk))
    assert (over.stage, over.ending) == ("ready", Ending.COLLECTED)
    assert [entry.event for entry in journal_of(desk, over.number)] == ["taken_over", "arrived", "moved", "ended"]
    assert here.standing == Standing("received")
    assert over.ended_at is not None
    assert over.ended_at.date().isoformat() == "2026-01-12"
    for ticket in (over, here):
        assert_the_journal_rebuilds_the_row(desk, ticket.number)


def test_nobody_is_written_to_and_of_the_past_nobody_is_kept(desk: Desk) -> None:
    import_list(desk, LIST.encode())

    assert messages(desk) == []
    kept = {contact for row in everything(desk)["contacts"] for contact in row}
    assert "'bea@example.org'" in kept
    assert "'ada@example.org'" not in kept


def test_the_same_file_is_taken_over_once(desk: Desk) -> None:
    import_list(desk, LIST.encode())
    before = everything(desk)

    with pytest.raises(Refused, match="taken over before"):
        import_list(desk, LIST.encode())

    assert everything(desk) == before


def test_what_is_taken_over_can_be_found_and_moved_on(desk: Desk) -> None:
    import_list(desk, LIST.encode())

    with desk.reading() as connection:
        (here,) = tickets.open_tickets(connection)

    assert (here.ticket.device, here.owner) == ("Röhrenverstärker", "Bea")

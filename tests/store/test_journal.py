"""The journal is append-only, and the database itself says so."""

from __future__ import annotations

import pytest
from sqlalchemy import delete, select, update
from sqlalchemy.exc import DatabaseError

from portal.actions.desk import COMMAND, Desk
from portal.actions.notes import note
from portal.store.tables import journal


@pytest.fixture
def written(desk: Desk, number: str) -> list[tuple]:
    """A journal with two entries, the second with words."""
    note(desk, COMMAND, number, "Opened; dust inside.")
    return rows(desk)


def rows(desk: Desk) -> list[tuple]:
    with desk.reading() as connection:
        return [tuple(row) for row in connection.execute(select(journal).order_by(journal.c.id))]


@pytest.mark.parametrize(
    "values",
    [
        {"entry": 9},
        {"at": "now"},
        {"by_kind": "clock"},
        {"by_kind": "staff", "by_staff": 1},
        {"event": "moved"},
        {"data": {"stage": "ready"}},
        {"audience": "customer"},
        {"text": "Opened; all clean inside."},
    ],
    ids=lambda values: ", ".join(values),
)
def test_no_entry_is_rewritten(desk: Desk, written: list[tuple], technician, values: dict[str, object]) -> None:
    changes = {name: desk.clock.now().replace(year=2020) if value == "now" else value for name, value in values.items()}

    with pytest.raises(DatabaseError, match=r"append-only|may only be emptied"), desk.writing() as connection:
        connection.execute(update(journal).where(journal.c.entry == 2).values(**changes))
    assert rows(desk) == written


def test_no_entry_of_an_open_ticket_is_deleted(desk: Desk, written: list[tuple]) -> None:
    with pytest.raises(DatabaseError, match="append-only"), desk.writing() as connection:
        connection.execute(delete(journal).where(journal.c.entry == 2))
    assert rows(desk) == written


def test_a_text_may_be_emptied_for_the_sake_of_whoever_it_speaks_of(desk: Desk, written: list[tuple]) -> None:
    with desk.writing() as connection:
        connection.execute(update(journal).where(journal.c.entry == 2).values(text=""))

    assert [row[:-2] for row in rows(desk)] == [row[:-2] for row in written]
    assert "dust" not in repr(rows(desk))

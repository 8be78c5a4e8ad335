"""Money is kept as long as the law asks and no longer, without whose it was; it is disclosed, and comes back whole."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from notifications.instants import FixedClock
from portal.actions import archives, charges, erasure, payments, retention
from portal.actions.desk import Desk
from portal.actions.handover import hand_over
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.payments import Typed
from portal.actions.price_terms import TypedTerms
from portal.rules.refusals import Refused
from portal.rules.retention import Kept
from portal.store import disclosure, schema
from portal.store.engine import open_engine, sqlite_url
from portal.store.money_tables import adjustments, statements
from portal.store.money_tables import payments as payments_table
from portal.store.photo_files import PhotoFiles
from tests.actions.aftermath import everything, ticket_of
from tests.actions.bench import WITHOUT_CODE, bring_to
from tests.actions.test_money import account_of, statements_of
from tests.conftest import BENCH

MONEY = (payments_table, adjustments, statements)
TRACES = ("Ada", "ada@", "7700900123", "Radio", "Aunt May", "hums")


@pytest.fixture
def over(desk: Desk) -> str:
    """The number of a radio that is gone: a price agreed without a word on what for, paid, partly reversed, let off."""
    device = NewDevice("Radio of Aunt May", "It hums,\nsays Aunt May", price=TypedTerms("fixed price", "48.50"))
    visit = NewVisit([device], name="Ada", email="ada@example.org", phone="07700 900123")
    number = take_in(desk, BENCH, visit).numbers[0]
    payments.take(desk, BENCH, number, Typed("5", "cash", "till 9"))
    payments.reverse(desk, BENCH, number, account_of(desk, number).moved[0].ref, "Typed on the wrong repair")
    charges.let_off(desk, BENCH, number, "8.50", "It took longer")
    payments.take(desk, BENCH, number, Typed("40", "bank transfer", "till 10"))
    bring_to(desk, number, "ready")
    hand_over(desk, BENCH, number, WITHOUT_CODE)
    return number


def test_money_names_nobody_and_no_device(desk: Desk, over: str) -> None:
    kept = repr(everything(desk, MONEY))

    assert [trace for trace in TRACES if trace in kept] == []
    [work, *_rest] = statements_of(desk, over)[0].document.entries
    assert str(work.words()) == "The repair, as agreed"


def test_it_stays_when_the_person_goes_and_goes_after_six_years(
    desk: Desk, files: PhotoFiles, clock: FixedClock, over: str
) -> None:
    before = everything(desk, MONEY)

    clock.at += timedelta(days=5 * 365)
    retention.apply(desk, files, clock.now())
    assert everything(desk, MONEY) == before
    assert [trace for trace in TRACES if trace in repr(everything(desk))] != TRACES
    with pytest.raises(Refused, match="only the proof is kept"):
        payments.take(desk, BENCH, over, Typed("1", "cash"), confirmed=True)

    clock.at += timedelta(days=370)
    retention.apply(desk, files, clock.now())
    assert {name: rows for name, rows in everything(desk, MONEY).items() if rows} == {}


def test_an_erasure_leaves_it_and_says_why(desk: Desk, files: PhotoFiles, over: str) -> None:
    before = everything(desk, MONEY)

    told = erasure.erase(desk, files, BENCH, over, "asked for")

    assert Kept.MONEY in {stays.kept for stays in told.stays}
    assert everything(desk, MONEY) == before


def test_whoever_asks_what_is_held_reads_it_without_whoever_took_it(desk: Desk, over: str) -> None:
    with desk.reading() as connection:
        rows = disclosure.of_visit(connection, ticket_of(desk, over).visit_id)

    assert [(row["amount_minor"], row["reference"]) for row in rows["payments"]][-1] == (4000, "till 10")
    assert [row["amount_minor"] for row in rows["adjustments"]] == [850]
    assert [(row["number"], row["document"]["open_minor"]) for row in rows["statements"]] == [(1, 0)]
    assert not any("by_staff" in row for row in rows["payments"])


def test_an_archive_brings_it_back_and_numbers_go_on(desk: Desk, files: PhotoFiles, over: str, tmp_path: Path) -> None:
    archives.make(desk, files, tmp_path / "shop.sqlite")
    engine = open_engine(sqlite_url(tmp_path / "another.db"))
    schema.upgrade(engine)
    another = Desk(engine, desk.clock, desk.links, desk.chooser)

    archives.restore(another, PhotoFiles(str(tmp_path / "others")), tmp_path / "shop.sqlite")

    assert everything(another, MONEY) == everything(desk, MONEY)
    payments.take(another, BENCH, over, Typed("1", "cash"), confirmed=True)
    assert [each.number for each in statements_of(another, over)] == [1, 2, 3]
    engine.dispose()

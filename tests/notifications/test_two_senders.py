"""Any number of clocks may run: each message goes out once, whoever is faster."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from sqlalchemy import Engine

from notifications import outbox
from notifications.instants import FixedClock
from notifications.outbox import Message
from portal.store.engine import writing
from tests.notifications.office import Office, ScriptedChannel

SENDERS, MESSAGES = 4, 60


@pytest.fixture
def offices(engine: Engine, clock: FixedClock) -> list[Office]:
    """Several senders on one database, each with a channel of its own."""
    return [Office(lambda: writing(engine), clock, {"mail": ScriptedChannel()}) for _ in range(SENDERS)]


def all_at_once(offices: list[Office], deed: Callable[[Office], object]) -> None:
    barrier = Barrier(len(offices))

    def start(office: Office) -> None:
        barrier.wait()
        deed(office)

    with ThreadPoolExecutor(len(offices)) as pool:
        list(pool.map(start, offices))


def times_sent(offices: list[Office]) -> Counter[str]:
    return Counter(letter.text for office in offices for _id, letter in office.channels["mail"].got)


def test_several_senders_at_once_send_nothing_twice_and_leave_nothing(offices: list[Office]):
    for place in range(MESSAGES):
        offices[0].put(f"cause {place}")

    all_at_once(offices, Office.send)

    assert times_sent(offices).total() == MESSAGES
    assert set(times_sent(offices).values()) == {1}
    assert {row.state for row in offices[0].rows()} == {"sent"}


def test_several_senders_at_once_do_not_tear_a_group_apart(offices: list[Office]):
    for key in range(10):
        for place in range(4):
            offices[0].put(f"key {key} place {place}", gather=f"key {key}")

    all_at_once(offices, Office.send)

    assert times_sent(offices).total() == 10
    assert {row.state for row in offices[0].rows()} == {"sent"}


def test_one_cause_put_by_several_at_once_is_told_once(offices: list[Office]):
    all_at_once(offices, lambda office: office.put("a note"))
    all_at_once(offices, Office.send)

    assert times_sent(offices).total() == 1


def test_withdrawing_while_others_send_ends_each_message_in_one_way(offices: list[Office]):
    for place in range(MESSAGES):
        offices[0].put(f"cause {place}", gather=f"key {place % 7}")

    def deed(office: Office) -> None:
        if office is offices[0]:
            with office.writing() as connection:
                outbox.withdraw(connection, office.clock.now(), "collected", reference="TICKET")
        else:
            office.send()

    all_at_once(offices, deed)
    offices[0].send()

    assert {row.state for row in offices[0].rows()} <= {"sent", "withdrawn"}


def test_a_message_put_in_a_transaction_that_is_not_over_is_not_sent(offices: list[Office], engine: Engine):
    if engine.dialect.name == "sqlite":
        return  # a second writer waits there until the first is done
    with offices[0].writing() as connection:
        outbox.put(connection, Message("noted", "a note", "OWNER", "TICKET"), offices[0].clock.now())
        assert offices[1].send().looked_at == 0
    assert offices[1].send().looked_at == 1

"""Random lives of an outbox: whatever is put, refused, lost or crashed in whatever order, the promises hold."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test
from sqlalchemy import Engine, create_engine, event

from notifications import claims, outbox
from notifications.channels import ChannelDown, Hopeless, LineBroke, TryLater
from notifications.claims import Claimed
from notifications.instants import FixedClock
from notifications.tables import metadata
from notifications.tables import outbox as table
from portal.store.engine import open_engine, writing
from tests.conftest import MONDAY
from tests.notifications.office import Office, ScriptedChannel

STEPS = ("claimed", "composed", "handing over", "handed over", "settled")
ANSWERS = st.sampled_from([None, TryLater("450"), Hopeless("550"), LineBroke("broke"), ChannelDown("535")])


class OutboxMachine(RuleBasedStateMachine):
    """An outbox on one database, emptied before each run."""

    engine: Engine

    def __init__(self) -> None:
        super().__init__()
        with writing(self.engine) as connection:
            connection.execute(table.delete())
        self.mail = ScriptedChannel()
        self.office = Office(lambda: writing(self.engine), FixedClock(MONDAY), {"mail": self.mail})
        self.put_causes: set[str] = set()
        self.settled: dict[str, str] = {}
        self.crashes = 0
        self.stale: list[Claimed] = []

    @rule(place=st.integers(0, 5), gather=st.sampled_from([None, "notes"]), minutes=st.sampled_from([0, 0, 20]))
    def put(self, place: int, gather: str | None, minutes: int) -> None:
        cause = f"cause {place}"
        fresh = self.office.put(cause, gather=gather, not_before=self.office.clock.now() + timedelta(minutes=minutes))
        assert fresh == (cause not in self.put_causes)
        self.put_causes.add(cause)

    @rule(answers=st.lists(ANSWERS, max_size=4))
    def send(self, answers: list[Exception | None]) -> None:
        self.crashes += sum(isinstance(answer, LineBroke) for answer in answers)
        self.mail.answers = list(answers)
        self.office.send()
        self.crashes -= sum(isinstance(answer, LineBroke) for answer in self.mail.answers)
        self.mail.answers = []

    @rule(step=st.sampled_from(STEPS))
    def crash(self, step: str) -> None:
        try:
            self.office.crash(step)
        except AssertionError:
            return  # nothing was due
        self.crashes += 1

    @rule()
    def claim_and_be_slow(self) -> None:
        with self.office.writing() as connection:
            claimed = claims.claim(connection, self.office.clock.now())
        if claimed:
            self.stale.append(claimed)

    @rule()
    def settle_late(self) -> None:
        if not self.stale:
            return
        late, before = self.stale.pop(), self.office.rows()
        holds = any(row.lease == late.lease for row in before)
        with self.office.writing() as connection:
            assert claims.later(connection, late, self.office.clock.now(), "slow", counts=True) == holds
        if not holds:
            assert self.office.rows() == before

    @rule(place=st.integers(0, 5))
    def withdraw(self, place: int) -> None:
        with self.office.writing() as connection:
            outbox.withdraw(connection, self.office.clock.now(), "gone", cause=f"cause {place}")

    @rule(minutes=st.sampled_from([1, 12, 31, 300]))
    def wait(self, minutes: int) -> None:
        self.office.wait(minutes=minutes)

    @invariant()
    def nothing_is_lost(self) -> None:
        assert {row.cause for row in self.office.rows()} == self.put_causes

    @invariant()
    def what_ended_stays_ended(self) -> None:
        ended = {row.cause: row.state for row in self.office.rows() if row.settled_at}
        assert ended.items() >= self.settled.items()
        self.settled = ended

    @invariant()
    def at_most_one_repeat_a_crash_and_never_more_than_one_a_letter(self) -> None:
        times = Counter(message_id for message_id, _letter in self.mail.got)
        assert sum(times.values()) - len(times) <= self.crashes
        assert all(count <= 2 for count in times.values())

    @invariant()
    def what_is_sent_was_received(self) -> None:
        got = {message_id for message_id, _letter in self.mail.got}
        assert all(row.message_id in got for row in self.office.rows() if row.state == "sent")

    def teardown(self) -> None:
        """However it went: leave it alone for a week and everything has an end."""
        self.mail.answers = []
        for _ in range(7 * 24):
            self.office.wait(hours=1)
            self.office.send()
            if all(row.settled_at for row in self.office.rows()):
                return
        raise AssertionError("a message has no end")


def _lives(engine: Engine, examples: int) -> None:
    machine = type("Machine", (OutboxMachine,), {"engine": engine})
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=examples,
            stateful_step_count=25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )


def test_the_promises_hold_through_any_life():
    engine = create_engine("sqlite://")
    event.listen(engine, "connect", lambda driver, _record: setattr(driver, "isolation_level", None))
    event.listen(engine, "begin", lambda connection: connection.exec_driver_sql("BEGIN"))
    metadata.create_all(engine)

    _lives(engine, examples=60)
    engine.dispose()


@pytest.mark.postgres
def test_the_promises_hold_through_any_life_on_postgresql(postgres_database: str):
    engine = open_engine(postgres_database)
    _lives(engine, examples=15)
    engine.dispose()

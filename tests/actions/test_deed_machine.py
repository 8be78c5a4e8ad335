"""Random deeds at the desk, on both databases, never break what must always be true of a ticket."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import partial
from itertools import count

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from notifications.tables import outbox
from portal.actions import complaints, conversation
from portal.actions.desk import COMMAND, Desk, Outcome, Stale
from portal.actions.handover import hand_over, return_unrepaired, undo
from portal.actions.intake import NewDevice, NewVisit, take_in
from portal.actions.moves import hold, move
from portal.actions.notes import correct, note
from portal.actions.return_ways import Wanted, choose
from portal.rules.conversation import Writer
from portal.rules.refusals import Refused
from portal.rules.return_ways import Way
from portal.rules.stages import Ending
from portal.store import complaints as complaint_rows
from portal.store import handovers, keeping
from portal.store import tickets as tickets_store
from portal.store.ending_tables import complaints as complaint_table
from portal.store.handover_tables import handovers as handover_rows
from portal.store.handover_tables import return_choices
from portal.store.keeping_tables import pauses
from portal.store.photo_files import PhotoFiles
from portal.store.tables import journal, tickets, visits
from portal.store.visits import by_id
from tests.actions.aftermath import assert_the_journal_rebuilds_the_row, everything, messages, ticket_of
from tests.actions.bench import WITHOUT_CODE

STAGES = ["received", "cleaning", "board_work", "testing", "ready", "nowhere"]
WORDS = st.sampled_from(["", "because", "x" * 4001, "\x00", "שלום 🙂"])
# What these deeds write; to read every table would be slow.
WRITTEN = (
    visits,
    tickets,
    journal,
    outbox,
    handover_rows,
    return_choices,
    complaint_table,
    pauses,
)
TICKETS = st.integers(0, 1)
DAYS = ["", "2026-03-01", "2026-03-02", "2026-03-05", "2026-03-07"]  # nothing, over, today, open, closed


class Bench(RuleBasedStateMachine):
    """Two tickets of one visit; deeds come with what was seen, sometimes stale, sometimes sent twice."""

    desk: Desk
    keys = count()

    @initialize(fault=st.sampled_from(["", "Broken"]), email=st.sampled_from(["", "ada@example.org"]))
    def two_devices_arrive(self, fault: str, email: str) -> None:
        devices = [NewDevice("Phone", fault), NewDevice("Laptop", "Broken")]
        self.numbers = take_in(self.desk, COMMAND, NewVisit(devices, email=email)).numbers
        self.told = messages(self.desk)

    def _do(self, which: int, late: bool, deed: Callable[..., Outcome]) -> None:
        number = self.numbers[which]
        before, seen = everything(self.desk, WRITTEN), ticket_of(self.desk, number).revision
        key = f"form-{next(self.keys)}"
        try:
            outcome = deed(number, seen=seen - late, deed_key=key)
        except (Refused, Stale) as refusal:
            told = refusal.since if isinstance(refusal, Stale) else refusal.reasons
            assert told, "a refusal that tells nothing"
            assert everything(self.desk, WRITTEN) == before, "a refused deed changed something"
            return
        assert not late, "a stale deed went through"
        assert outcome == Outcome(number, seen + 1)
        after = everything(self.desk, WRITTEN)
        assert deed(number, seen=seen, deed_key=key) == Outcome(number, seen + 1, repeated=True)
        assert everything(self.desk, WRITTEN) == after

    @rule(which=TICKETS, late=st.booleans(), to=st.sampled_from(STAGES), why=WORDS, confirmed=st.booleans())
    def move(self, which: int, late: bool, to: str, why: str, confirmed: bool) -> None:
        said = {"why": why, "confirmed": confirmed}
        self._do(which, late, lambda number, **more: move(self.desk, COMMAND, number, to, **said, **more))

    @rule(which=TICKETS)
    def move_on(self, which: int) -> None:
        """A move that will mostly go through, so that tickets get somewhere."""
        ticket = ticket_of(self.desk, self.numbers[which])
        if ticket.hold:
            self._do(which, False, lambda number, **more: hold(self.desk, COMMAND, number, "none", **more))
        to = STAGES[STAGES.index(ticket.stage) + 1]
        self._do(which, False, lambda number, **more: move(self.desk, COMMAND, number, to, confirmed=True, **more))

    @rule(which=TICKETS, late=st.booleans(), kind=st.sampled_from(["approval", "part", "dispute", "none", "lunch"]))
    def hold(self, which: int, late: bool, kind: str) -> None:
        self._do(which, late, lambda number, **more: hold(self.desk, COMMAND, number, kind, **more))

    @rule(which=TICKETS, late=st.booleans(), text=WORDS, audience=st.sampled_from(["bench", "customer"]))
    def note(self, which: int, late: bool, text: str, audience: str) -> None:
        self._do(which, late, lambda number, **more: note(self.desk, COMMAND, number, text, audience=audience, **more))

    @rule(which=TICKETS)
    def the_customer_writes(self, which: int) -> None:
        with suppress(Refused):
            conversation.write(self.desk, PhotoFiles("memory://"), self.numbers[which], Writer.OWNER, "Is it ready?")

    @rule(which=TICKETS, late=st.booleans())
    def what_they_wrote_is_read(self, which: int, late: bool) -> None:
        self._do(which, late, lambda number, **more: conversation.read(self.desk, COMMAND, number, **more))

    @rule(which=TICKETS, late=st.booleans(), text=WORDS)
    def answer(self, which: int, late: bool, text: str) -> None:
        self._do(which, late, lambda number, **more: conversation.answer(self.desk, COMMAND, number, text, **more))

    @rule(which=TICKETS, entry=st.integers(-1, 5), text=WORDS)
    def correct(self, which: int, entry: int, text: str) -> None:
        self._do(which, False, lambda number, **more: correct(self.desk, COMMAND, number, entry, text, **more))

    @rule(which=TICKETS, late=st.booleans())
    def hand_over(self, which: int, late: bool) -> None:
        self._do(which, late, lambda number, **more: hand_over(self.desk, COMMAND, number, WITHOUT_CODE, **more))

    @rule(which=TICKETS, late=st.booleans(), why=WORDS)
    def return_unrepaired(self, which: int, late: bool, why: str) -> None:
        self._do(which, late, lambda number, **more: return_unrepaired(self.desk, COMMAND, number, why, **more))

    @rule(which=TICKETS, late=st.booleans(), why=WORDS)
    def undo(self, which: int, late: bool, why: str) -> None:
        self._do(which, late, lambda number, **more: undo(self.desk, COMMAND, number, why, **more))

    @rule(which=TICKETS, late=st.booleans(), way=st.sampled_from([*Way, "pigeon"]), day=st.sampled_from(DAYS))
    def choose(self, which: int, late: bool, way: str, day: str) -> None:
        wanted = Wanted(way, day, person="Ben", address="At home", confirmed=True)
        self._do(which, late, lambda number, **more: choose(self.desk, COMMAND, number, wanted, **more))

    @rule(which=TICKETS, late=st.booleans(), words=WORDS)
    def complain(self, which: int, late: bool, words: str) -> None:
        deed = partial(complaints.complain, self.desk, words=words, by=COMMAND)
        self._do(which, late, lambda number, **more: deed(number=number, **more))

    @rule(which=TICKETS, late=st.booleans(), words=WORDS)
    def answer_the_complaint(self, which: int, late: bool, words: str) -> None:
        self._do(which, late, lambda number, **more: complaints.answer(self.desk, COMMAND, number, words, **more))

    @rule(which=TICKETS, late=st.booleans())
    def close_the_complaint(self, which: int, late: bool) -> None:
        self._do(which, late, lambda number, **more: complaints.close(self.desk, COMMAND, number, **more))

    @invariant()
    def one_complaint_at_most_is_open_and_it_alone_keeps_data(self) -> None:
        with self.desk.reading() as connection:
            found = [tickets_store.by_number(connection, number) for number in self.numbers]
            open_ones = [complaint_rows.open_of(connection, ticket.id) for ticket in found if ticket]
            kept = keeping.pauses_of(connection, found[0].visit_id) if found[0] else []
        assert bool(kept) == any(open_ones)

    @invariant()
    def the_journal_rebuilds_every_row(self) -> None:
        for number in self.numbers:
            assert_the_journal_rebuilds_the_row(self.desk, number)

    @invariant()
    def what_was_told_stays_told(self) -> None:
        now = messages(self.desk)
        assert now[: len(self.told)] == self.told
        self.told = now

    @invariant()
    def the_page_and_what_is_kept_count_down_once_all_have_left(self) -> None:
        tickets_now = [ticket_of(self.desk, number) for number in self.numbers]
        with self.desk.reading() as connection:
            visit = by_id(connection, tickets_now[0].visit_id)
            kept = keeping.of_visit(connection, visit.id)
        all_gone = all(ticket.ending for ticket in tickets_now)
        assert (visit.link_ends_at is not None) == bool(kept) == all_gone

    @invariant()
    def a_day_is_promised_only_of_what_is_ready(self) -> None:
        for number in self.numbers:
            ticket = ticket_of(self.desk, number)
            with self.desk.reading() as connection:
                choice = handovers.choice(connection, ticket.id)
            if ticket.stage != "ready":
                assert ticket.collect_on is None
                assert choice is None or (choice.way, choice.person, choice.address) == (None, "", "")
            elif ticket.collect_on:
                assert choice is not None
                assert choice.day == ticket.collect_on

    @invariant()
    def only_what_was_ready_was_collected_and_nothing_ended_waits(self) -> None:
        for number in self.numbers:
            ticket = ticket_of(self.desk, number)
            assert ticket.ending is not Ending.COLLECTED or ticket.stage == "ready"
            assert not (ticket.ending and ticket.hold)


@pytest.mark.slow
def test_random_deeds_at_the_desk_never_break_what_must_always_be_true(desk: Desk) -> None:
    class ThisBench(Bench):
        def __init__(self) -> None:
            super().__init__()
            self.desk = desk

    few = settings(  # and a failure is not shrunk, which would take minutes on a database: 12 steps can be read
        max_examples=20,
        stateful_step_count=12,
        deadline=None,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.reuse, Phase.generate],
    )
    run_state_machine_as_test(ThisBench, settings=few)

"""Random deeds on one ticket never break what must always be true of it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from portal.rules import stages
from portal.rules.gates import GATES, Facts
from portal.rules.refusals import AskFirst, Refused
from portal.rules.stages import Ending, Event, Hold, Standing
from tests.rules.cast import STAGES

KEYS = [stage.key for stage in STAGES]
SKIPPABLE = {stage.key for stage in STAGES if stage.may_be_skipped}
OPEN = Facts(fault_described=True, contact_reachable=True, customer_note_in_stage=True)
FACTS = st.just(OPEN) | st.builds(
    Facts, fault_described=st.booleans(), contact_reachable=st.booleans(), customer_note_in_stage=st.booleans()
)
REASONS = st.sampled_from(["", "because"])


class OneTicket(RuleBasedStateMachine):
    """A ticket whose journal is a list, and whose row is the standing beside it."""

    def __init__(self) -> None:
        super().__init__()
        self.journal: list[Event] = []
        self.standing = Standing()

    def _try(self, deed: Callable[[], list[Event]]) -> bool:
        """Do a deed; tell whether it went through. A refused one must say why and change nothing."""
        try:
            events = deed()
        except Refused as refused:
            told = [str(reason) for reason in refused.reasons]
            assert told, "a refusal without a reason"
            assert all(told), "an empty reason"
            return False
        assert events
        self.journal += events
        for event in events:
            self.standing = stages.apply(self.standing, event)
        return True

    @initialize()
    def arrive_first(self) -> None:
        """What is refused before arrival is told elsewhere; here it would only use up the steps."""
        self.arrive()

    @rule()
    @precondition(lambda self: self.standing.ending)
    def another_device(self) -> None:
        """After the end there is little left to try, so another ticket is begun."""
        self.the_journal_rebuilds_the_standing()
        self.journal, self.standing = [], Standing()
        self.arrive()

    @rule()
    def arrive(self) -> None:
        before = self.standing

        done = self._try(lambda: stages.arrive(before, STAGES))

        assert done == (before == Standing())
        assert self.standing.stage is not None

    @rule(to=st.sampled_from([*KEYS, "nowhere"]), facts=FACTS, why=REASONS, confirmed=st.booleans())
    def move(self, to: str, facts: Facts, why: str, confirmed: bool) -> None:
        self._move(to, facts, why, confirmed)

    @rule(to=st.sampled_from(KEYS))
    @precondition(lambda self: not self.standing.ending)
    def move_with_every_gate_open(self, to: str) -> None:
        """So that tickets get somewhere."""
        if self.standing.hold:
            self.lift_hold()
        self._move(to, OPEN, "", True)

    def _move(self, to: str, facts: Facts, why: str, confirmed: bool) -> None:
        before = self.standing

        if not self._try(lambda: stages.move(before, to, STAGES, facts, why=why, confirmed=confirmed)):
            assert self.standing == before
            return
        assert self.standing == dataclasses.replace(before, stage=to)
        assert before.stage is not None
        assert before.hold is None
        assert before.ending is None
        here, there = KEYS.index(before.stage), KEYS.index(to)
        if there > here:
            assert set(KEYS[here + 1 : there]) <= SKIPPABLE
            for gate in [*STAGES[here].leave, *STAGES[there].enter]:
                assert GATES[gate.gate].is_open(facts) or (gate.when_shut == "warn" and confirmed)
        else:
            assert there < here
            assert why or STAGES[there].back_without_reason

    @rule(to=st.sampled_from(KEYS), facts=FACTS, why=REASONS)
    def confirm_what_was_asked(self, to: str, facts: Facts, why: str) -> None:
        """What asks first goes through once confirmed, on the same facts."""
        before = self.standing
        try:
            stages.move(before, to, STAGES, facts, why=why)
        except AskFirst:
            assert self._try(lambda: stages.move(before, to, STAGES, facts, why=why, confirmed=True))
        except Refused:
            assert not self._try(lambda: stages.move(before, to, STAGES, facts, why=why, confirmed=True))

    @rule(hold=st.sampled_from([*(hold.value for hold in Hold), "lunch"]))
    def set_hold(self, hold: str) -> None:
        before = self.standing

        if self._try(lambda: stages.set_hold(before, hold)):
            assert self.standing == dataclasses.replace(before, hold=Hold(hold))
            assert before.hold != hold

    @rule()
    def lift_hold(self) -> None:
        before = self.standing

        assert self._try(lambda: stages.lift_hold(before)) == (before.hold is not None)
        assert self.standing.hold is None

    @rule(ending=st.sampled_from([Ending.COLLECTED, Ending.POSTED]))
    def hand_over(self, ending: Ending) -> None:
        before = self.standing

        done = self._try(lambda: stages.hand_over(before, STAGES, ending))

        assert done == (before == Standing(KEYS[-1]))

    @rule(why=REASONS)
    def return_unrepaired(self, why: str) -> None:
        before = self.standing

        done = self._try(lambda: stages.return_unrepaired(before, why))

        is_here = before.stage is not None and before.ending is None
        assert done == (is_here and before.hold is not Hold.DISPUTE and bool(why))

    @invariant()
    def the_journal_rebuilds_the_standing(self) -> None:
        assert stages.rebuild(self.journal) == self.standing

    @invariant()
    def the_ticket_stands_in_a_stage_of_the_shop_once_it_has_arrived(self) -> None:
        assert (self.standing.stage in KEYS) == bool(self.journal)

    @invariant()
    def what_has_ended_waits_for_nothing_and_ended_once(self) -> None:
        ends = [event for event in self.journal if event.name == "ended"]
        assert len(ends) == (self.standing.ending is not None)
        if ends:
            assert self.standing.hold is None
            assert self.journal[-1] is ends[0]

    @invariant()
    def only_what_is_ready_was_handed_over(self) -> None:
        if self.standing.ending in (Ending.COLLECTED, Ending.POSTED):
            assert self.standing.stage == KEYS[-1]

    @invariant()
    def the_stages_offered_are_those_that_a_move_reaches(self) -> None:
        if self.standing.stage is None or self.standing.ending or self.standing.hold:
            return
        for stage in [
            *stages.next_stages(self.standing, STAGES),
            *stages.earlier_stages(self.standing, STAGES),
        ]:
            assert stages.move(self.standing, stage.key, STAGES, OPEN, why="because")


TestOneTicket = OneTicket.TestCase

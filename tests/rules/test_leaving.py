"""No order of entries lets a device leave with a tray whose counts do not meet, or with a needed check that failed,
unless a reason stands in the journal. Random orders of deeds against a plain book kept beside them."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from portal import resources
from portal.rules import stages, test_sheet, tray
from portal.rules.gates import Facts
from portal.rules.policy import Check, Policy
from portal.rules.refusals import Refused
from portal.rules.stages import Ending, Standing, apply
from portal.rules.test_sheet import Tried, When
from portal.rules.tray import End, NewLine, TrayLine

POLICY = Policy.model_validate(tomllib.loads(resources.default_policy().read_text(encoding="utf-8")))
CHECKS = [
    Check(key="starts", bench="Starts", customer={"en": "Starts"}),
    Check(key="drive", bench="Drive", customer={"en": "Drive"}, needed=False),
]
LINES = st.integers(1, 4)
STAGES = st.sampled_from([stage.key for stage in POLICY.stages])


@dataclass
class Book:
    """What happened, written down without the rules: what came out, what ended, the last results, the reasons."""

    out: dict[int, int] = field(default_factory=dict)
    ended: dict[int, int] = field(default_factory=dict)
    last: dict[str, str] = field(default_factory=dict)
    let_through: set[str] = field(default_factory=set)


class Leaving(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.standing = Standing(POLICY.stages[0].key)
        self.lines: dict[int, TrayLine] = {}
        self.sheet: dict[tuple[str, When], Tried] = {}
        self.book = Book()

    @property
    def facts(self) -> Facts:
        sheet = list(self.sheet.values())
        return Facts(
            fault_described=True,
            contact_reachable=True,
            no_safety_flag=True,
            tray_settled=tray.settled(self.lines.values()),
            no_failed_check=not test_sheet.failed(CHECKS, sheet),
            sheet_passed=not test_sheet.unsettled(CHECKS, sheet),
        )

    def happen(self, events: list[stages.Event]) -> None:
        for event in events:
            self.standing = apply(self.standing, event)

    @rule(count=st.integers(1, 4))
    def take_out(self, count: int) -> None:
        if self.standing.ending is None:
            new = tray.take_out(NewLine("screws", count), self.lines.values())
            self.lines[new.line] = new
            self.book.out[new.line] = count

    @rule(line=LINES, how=st.sampled_from(End), count=st.integers(1, 5))
    def end(self, line: int, how: End, count: int) -> None:
        if self.standing.ending is None and line in self.lines:
            try:
                self.lines[line] = tray.end(self.lines[line], how, count, "a part")
            except Refused:
                return
            self.book.ended[line] = self.book.ended.get(line, 0) + count

    @rule(line=LINES, count=st.integers(1, 5), why=st.sampled_from(["", "Miscounted."]))
    def recount(self, line: int, count: int, why: str) -> None:
        if self.standing.ending is None and line in self.lines:
            try:
                self.lines[line] = tray.recount(self.lines[line], count, why)
            except Refused:
                return
            assert why
            self.book.out[line] = count

    @rule(line=LINES, why=st.sampled_from(["", "Wrong ticket."]))
    def strike(self, line: int, why: str) -> None:
        if self.standing.ending is None and line in self.lines:
            try:
                self.lines[line] = tray.strike(self.lines[line], why)
            except Refused:
                return
            assert why
            self.book.out[line] = self.book.ended.get(line, 0)

    @rule(
        check=st.sampled_from(CHECKS), when=st.sampled_from(When), result=st.sampled_from(["pass", "fail", "not tried"])
    )
    def test(self, check: Check, when: When, result: str) -> None:
        if self.standing.ending is None:
            self.sheet[(check.key, when)] = test_sheet.fill_in(check, when, result)
            if when is When.AFTER:
                self.book.last[check.key] = result
                self.book.let_through.discard(check.key)

    @rule(why=st.sampled_from(["", "Agreed by phone."]), keeper=st.booleans())
    def let_through(self, why: str, keeper: bool) -> None:
        if self.standing.ending is None:
            try:
                passing = test_sheet.let_through(
                    CHECKS, list(self.sheet.values()), why, by_keeper=keeper, bench_may=False
                )
            except Refused:
                return
            assert why
            assert keeper
            for tried in passing:
                self.sheet[(tried.check, tried.when)] = tried
                self.book.let_through.add(tried.check)

    @rule(to=STAGES)
    def move(self, to: str) -> None:
        try:
            self.happen(stages.move(self.standing, to, POLICY.stages, self.facts, why="Once more.", confirmed=True))
        except Refused:
            return

    @rule()
    def hand_over(self) -> None:
        try:
            self.happen(stages.hand_over(self.standing, POLICY.stages, facts=self.facts, confirmed=True))
        except Refused:
            return

    @rule()
    def give_back(self) -> None:
        try:
            self.happen(
                stages.return_unrepaired(self.standing, "No spare parts.", tray_settled=self.facts.tray_settled)
            )
        except Refused:
            return

    @invariant()
    def nothing_left_behind(self) -> None:
        if self.standing.ending is not None:
            assert all(self.book.ended.get(line, 0) == count for line, count in self.book.out.items())
        if self.standing.ending is Ending.COLLECTED:
            assert self.book.last.get("starts") != "fail" or "starts" in self.book.let_through


Leaving.TestCase.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)
TestLeaving = Leaving.TestCase

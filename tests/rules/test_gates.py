"""Gates: each names what opens it, and the policy says whether it blocks or only warns."""

from __future__ import annotations

import dataclasses

import pytest

from portal.rules.gates import GATES, Facts, shut_gates
from portal.rules.policy import GateAt
from portal.rules.refusals import Refused
from portal.rules.stages import Event, Standing, move
from tests.rules.cast import stage

READ_BY = {
    "fault_described": "fault_described",
    "contact_reachable": "contact_reachable",
    "customer_note": "customer_note_in_stage",
    "intake_recorded": "intake_recorded",
    "tray_settled": "tray_settled",
    "sheet_before_made": "sheet_before_made",
    "sheet_passed": "sheet_passed",
    "no_failed_check": "no_failed_check",
    "no_safety_flag": "no_safety_flag",
    "safety_test_recorded": "safety_test_recorded",
}


@pytest.mark.parametrize(("gate", "fact"), READ_BY.items())
def test_a_gate_is_open_when_its_fact_is_true_and_shut_otherwise(gate: str, fact: str) -> None:
    assert GATES[gate].is_open(Facts(**{fact: True}))
    assert not GATES[gate].is_open(Facts(**{fact: False}))


@pytest.mark.parametrize("gate", GATES)
def test_every_gate_is_named_and_says_what_opens_it(gate: str) -> None:
    assert str(GATES[gate].label)
    assert str(GATES[gate].opens_with).count(".") >= 2, "what is shut, and then what would open it"


@pytest.mark.parametrize("gate", GATES)
def test_no_gate_is_open_before_anything_is_known(gate: str) -> None:
    """Whoever adds a fact must read it: a gate that is open by default would hold nothing."""
    assert not GATES[gate].is_open(Facts())


def test_a_gate_that_stands_twice_is_told_once() -> None:
    twice = [GateAt(gate="customer_note"), GateAt(gate="customer_note")]

    assert shut_gates(twice, Facts()) == ([GATES["customer_note"].opens_with], [])


def test_a_gate_that_blocks_here_and_warns_there_blocks() -> None:
    both = [GateAt(gate="customer_note", when_shut="warn"), GateAt(gate="customer_note")]

    assert shut_gates(both, Facts()) == ([GATES["customer_note"].opens_with], [])


def test_open_gates_are_not_told() -> None:
    open_facts = Facts(**{field.name: True for field in dataclasses.fields(Facts) if field.type in ("bool", bool)})

    assert shut_gates([GateAt(gate=gate) for gate in READ_BY], open_facts) == ([], [])


@pytest.mark.parametrize("gate", GATES)
def test_every_gate_can_stand_on_entering_and_on_leaving(gate: str) -> None:
    doors = [stage("first", leave=[{"gate": gate, "when_shut": "warn"}]), stage("last", enter=[{"gate": gate}])]

    with pytest.raises(Refused):
        move(Standing("first"), "last", doors, Facts())
    assert move(Standing("last"), "first", doors, Facts(), why="back") == [Event("moved", {"stage": "first"})]

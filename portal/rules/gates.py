"""Gates: what must be true before a ticket may leave a stage or enter the next. Named predicates over plain facts.

To add one: a field in `Facts` (filled by `portal.store.facts`), a `Gate` in `GATES`, and a row in the manual.
The policy decides where each gate stands and whether it blocks or only warns.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from portal.rules.sentences import Sentence, say


@dataclass(frozen=True)
class Facts:
    """What is known of a ticket when it is to move. Every field says what is true now."""

    fault_described: bool = False  # the fault as told by the customer is written down
    contact_reachable: bool = False  # the visit has an e-mail address or a phone number
    customer_note_in_stage: bool = False  # a note for the customer was written since the stage was entered


@dataclass(frozen=True)
class Gate:
    """A named predicate. `opens_with` tells the technician what would open it when it is shut."""

    label: Sentence
    opens_with: Sentence
    is_open: Callable[[Facts], bool]


GATES: Mapping[str, Gate] = {
    "fault_described": Gate(
        say("Fault described"),
        say("The fault is not described. Write down what the customer says is wrong."),
        lambda facts: facts.fault_described,
    ),
    "contact_reachable": Gate(
        say("Customer can be reached"),
        say("Nobody can be told: the visit has no e-mail address and no phone number. Add one to the contact."),
        lambda facts: facts.contact_reachable,
    ),
    "customer_note": Gate(
        say("Customer told what was done"),
        say("The customer has not been told anything in this stage. Write a note for the customer."),
        lambda facts: facts.customer_note_in_stage,
    ),
}


class StandingGate(Protocol):
    """A gate as the policy sets it."""

    @property
    def gate(self) -> str: ...

    @property
    def when_shut(self) -> Literal["block", "warn"]: ...


def shut_gates(checks: Sequence[StandingGate], facts: Facts) -> tuple[list[Sentence], list[Sentence]]:
    """Which of `checks` are shut: (those that block, those that warn), each as what would open it, none told twice."""
    blocking: dict[str, Sentence] = {}
    warning: dict[str, Sentence] = {}
    for check in checks:
        gate = GATES[check.gate]
        if not gate.is_open(facts):
            (blocking if check.when_shut == "block" else warning)[check.gate] = gate.opens_with
    for name in blocking:
        warning.pop(name, None)
    return list(blocking.values()), list(warning.values())

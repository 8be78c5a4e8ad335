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
    before_photo: bool = False  # there is a photo from before the repair
    after_photo: bool = False  # there is a photo from after the repair
    intake_recorded: bool = False  # the condition on arrival is written down
    tray_settled: bool = False  # whatever was taken out is put back, replaced or handed to the customer
    sheet_before_made: bool = False  # the needed checks were tried before the repair
    sheet_passed: bool = False  # the needed checks pass after the repair, or were let through with a reason
    no_failed_check: bool = False  # no needed check failed after the repair without being let through
    no_safety_flag: bool = False  # no damaged battery waits to be dealt with
    extras_settled: bool = False  # no question about money waits for anybody
    safety_test_recorded: bool = False  # an electrical safety test is recorded, or the kind has no mains inside


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
    "before_photo": Gate(
        say("Photo from before"),
        say("There is no photo from before the repair. Take one that shows the device as it came."),
        lambda facts: facts.before_photo,
    ),
    "after_photo": Gate(
        say("Photo from after"),
        say("There is no photo from after the repair. Take one that shows the device as it goes."),
        lambda facts: facts.after_photo,
    ),
    "intake_recorded": Gate(
        say("Condition on arrival recorded"),
        say("The condition on arrival is not recorded. Fill in the intake record."),
        lambda facts: facts.intake_recorded,
    ),
    "extras_settled": Gate(
        say("Questions about money settled"),
        say("A question about money waits, or lies there as a draft. Wait for the answer, or withdraw it."),
        lambda facts: facts.extras_settled,
    ),
    "tray_settled": Gate(
        say("Tray settled"),
        say("Something taken out still lies in the tray. Say for each line how it ended; the counts must meet."),
        lambda facts: facts.tray_settled,
    ),
    "sheet_before_made": Gate(
        say("Tested before the repair"),
        say(
            "The test sheet before the repair is not complete. Try its needed checks, or record why one was not tried."
        ),
        lambda facts: facts.sheet_before_made,
    ),
    "sheet_passed": Gate(
        say("Test sheet passed"),
        say("The test sheet is not passed: a needed check is open or failed. Test again, or have it let through."),
        lambda facts: facts.sheet_passed,
    ),
    "no_failed_check": Gate(
        say("No needed check failed"),
        say("A needed check failed after the repair. Mend it and test again, or have it let through with a reason."),
        lambda facts: facts.no_failed_check,
    ),
    "no_safety_flag": Gate(
        say("No damaged battery"),
        say("The battery is flagged as damaged. Record how it was dealt with; follow local codes."),
        lambda facts: facts.no_safety_flag,
    ),
    "safety_test_recorded": Gate(
        say("Electrical safety test recorded"),
        say(
            "No electrical safety test after the repair is recorded. A qualified person makes it; record who and when."
        ),
        lambda facts: facts.safety_test_recorded,
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

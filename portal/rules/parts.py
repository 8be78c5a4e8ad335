"""Parts: ordered, arrived, fitted; new, or used from a donor device, which the customer is told."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from enum import StrEnum

from portal.rules.refusals import Refused, Unfit, needs
from portal.rules.sentences import Sentence, say
from portal.rules.stages import Event, Hold, Standing, lift_hold
from portal.rules.text import line

LONGEST_WARRANTY = 120  # months
LONGEST_WAIT_DAYS = 730


class Origin(StrEnum):
    """Where a part comes from."""

    NEW = "new"
    DONOR = "used, from a donor device"


class State(StrEnum):
    """How far a part has come."""

    ORDERED = "ordered"
    ARRIVED = "arrived"
    WRONG = "wrong part"
    DEAD = "dead on arrival"
    FITTED = "fitted"


DELIVERIES = (State.ARRIVED, State.WRONG, State.DEAD)
DELIVERY_WORDS = {
    State.ARRIVED: say("arrived"),
    State.WRONG: say("wrong part"),
    State.DEAD: say("dead on arrival"),
}
CUSTOMER_DELIVERY_WORDS = {
    State.ARRIVED: say("The part came."),
    State.WRONG: say("A part came, but not the right one. We see to it."),
    State.DEAD: say("A part came, but it does not work. We see to it."),
}
ORIGIN_WORDS = {Origin.NEW: say("new"), Origin.DONOR: say("used, taken from another device")}


@dataclass(frozen=True)
class PartLine:
    """A part of a ticket; `part` numbers it within. `donor` is the donor device's number, where it came from one."""

    part: int
    what: str
    state: State
    origin: Origin = Origin.NEW
    supplier: str = ""
    reference: str = ""  # the supplier's
    expected_on: date | None = None
    warranty_months: int | None = None
    donor: int | None = None


def fit(new: PartLine, today: date) -> PartLine:
    """A part as stored. Raises Unfit for a text that does not fit, an absurd warranty, or a day past or far off."""
    if new.warranty_months is not None and not 0 <= new.warranty_months <= LONGEST_WARRANTY:
        raise Unfit("warranty_months", say("A warranty runs 0 to {most} months.", most=LONGEST_WARRANTY))
    supplier = line("supplier", say("The supplier"), new.supplier)
    if new.state is State.ORDERED:
        if not supplier:
            raise needs("supplier", say("From whom the part is ordered"))
        if new.expected_on is None:
            raise needs("expected_on", say("The day on which the part is expected"))
        if not 0 <= (new.expected_on - today).days <= LONGEST_WAIT_DAYS:
            raise Unfit("expected_on", say("Expected on: allowed is today to two years from now."))
    return replace(
        new,
        what=line("what", say("The part"), new.what, required=True),
        supplier=supplier,
        reference=line("reference", say("The supplier’s reference"), new.reference, limit=60),
    )


def deliver(known: PartLine, how: str) -> PartLine:
    """Tick a part off a delivery. Raises Refused when it is not awaited, Unfit for another word than the three."""
    if known.state is not State.ORDERED:
        raise Refused(say("“{what}” is not awaited: it is “{state}”.", what=known.what, state=known.state.value))
    if how not in DELIVERIES:
        raise Unfit("how", say("“{how}” is not known. Allowed: {allowed}.", how=how, allowed=", ".join(DELIVERIES)))
    return replace(known, state=State(how))


def put_in(known: PartLine) -> PartLine:
    """Fit a part that has arrived. Raises Refused for one that has not, or is no good."""
    if known.state is not State.ARRIVED:
        raise Refused(say("“{what}” cannot be fitted: it is “{state}”.", what=known.what, state=known.state.value))
    return replace(known, state=State.FITTED)


def lifted(standing: Standing, parts: Iterable[PartLine]) -> list[Event]:
    """The events that end the wait for a part once nothing more is awaited.

    A wrong part or a dead one ends it too: the bench must act, so the ticket may not sleep among those that wait.
    """
    waits = any(part.state is State.ORDERED for part in parts)
    return [] if waits or standing.hold is not Hold.PART else lift_hold(standing)


def expected(parts: Iterable[PartLine]) -> date | None:
    """The day on which the last awaited part is expected, or None where none is."""
    return max((part.expected_on for part in parts if part.state is State.ORDERED and part.expected_on), default=None)


def told(part: PartLine) -> Sentence:
    """A fitted part as the customer reads it."""
    if part.warranty_months:
        return say(
            "{what} ({origin}), with {months} months’ warranty",
            what=part.what,
            origin=ORIGIN_WORDS[part.origin],
            months=part.warranty_months,
        )
    return say("{what} ({origin})", what=part.what, origin=ORIGIN_WORDS[part.origin])


def find(parts: Sequence[PartLine], number: int) -> PartLine:
    """The part with this number. Raises Refused when the ticket has none."""
    for part in parts:
        if part.part == number:
            return part
    raise Refused(say("The ticket has no part {number}.", number=number))

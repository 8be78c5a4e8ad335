"""Parts: ordered from somebody for a day, ticked off, fitted; what the customer is told of them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from portal.rules import parts as rules
from portal.rules.parts import Origin, PartLine, State
from portal.rules.refusals import Refused, Unfit
from portal.rules.stages import Event, Hold, Standing

TODAY = date(2026, 3, 2)
PORT = PartLine(1, "picture port", State.ORDERED, supplier="A supplier", expected_on=TODAY)
WAITING = Standing("board_work", Hold.PART)


@pytest.mark.parametrize(
    ("part", "field"),
    [
        (PartLine(0, "", State.ORDERED, supplier="S", expected_on=TODAY), "what"),
        (PartLine(0, "port", State.ORDERED, expected_on=TODAY), "supplier"),
        (PartLine(0, "port", State.ORDERED, supplier="S"), "expected_on"),
        (PartLine(0, "port", State.ORDERED, supplier="S", expected_on=TODAY - timedelta(1)), "expected_on"),
        (PartLine(0, "port", State.ORDERED, supplier="S", expected_on=date.max), "expected_on"),
        (PartLine(0, "port", State.FITTED, warranty_months=-1), "warranty_months"),
        (PartLine(0, "port", State.FITTED, warranty_months=121), "warranty_months"),
    ],
)
def test_what_does_not_fit_is_refused_at_its_field(part: PartLine, field: str) -> None:
    with pytest.raises(Unfit) as refused:
        rules.fit(part, TODAY)

    assert refused.value.field == field


@pytest.mark.parametrize("how", rules.DELIVERIES)
def test_a_delivery_is_ticked_off_once(how: State) -> None:
    part = rules.deliver(PORT, how)

    assert part.state is how
    with pytest.raises(Refused, match="is not awaited"):
        rules.deliver(part, how)


@pytest.mark.parametrize("how", ["fitted", "ordered", "lost", ""])
def test_a_delivery_is_one_of_three(how: str) -> None:
    with pytest.raises(Unfit, match="Allowed: arrived, wrong part, dead on arrival"):
        rules.deliver(PORT, how)


@pytest.mark.parametrize("how", rules.DELIVERIES)
def test_the_wait_ends_once_nothing_more_is_awaited(how: State) -> None:
    """A wrong part or a dead one ends it too: the bench must act."""
    fan = PartLine(2, "fan", State.ORDERED, supplier="S", expected_on=TODAY)
    came = rules.deliver(PORT, how)

    assert rules.lifted(WAITING, [came, fan]) == []
    assert rules.lifted(WAITING, [came, rules.deliver(fan, how)]) == [Event("released")]


@pytest.mark.parametrize("hold", [None, Hold.APPROVAL, Hold.SAFETY])
def test_a_ticket_that_waits_for_something_else_goes_on_waiting(hold: Hold | None) -> None:
    assert rules.lifted(Standing("board_work", hold), []) == []


def test_only_a_part_that_arrived_is_fitted() -> None:
    assert rules.put_in(rules.deliver(PORT, State.ARRIVED)).state is State.FITTED
    for part in (PORT, rules.deliver(PORT, State.DEAD)):
        with pytest.raises(Refused, match="cannot be fitted"):
            rules.put_in(part)


def test_the_wait_is_as_long_as_its_last_part() -> None:
    later = PartLine(2, "fan", State.ORDERED, supplier="S", expected_on=TODAY + timedelta(3))

    assert rules.expected([PORT, later]) == TODAY + timedelta(3)
    assert rules.expected([rules.deliver(PORT, State.ARRIVED)]) is None


def test_a_used_part_is_told_as_used() -> None:
    used = PartLine(1, "drive", State.FITTED, Origin.DONOR)
    new = PartLine(2, "fan", State.FITTED, warranty_months=12)

    assert str(rules.told(used)) == "drive (used, taken from another device)"
    assert str(rules.told(new)) == "fan (new), with 12 months’ warranty"

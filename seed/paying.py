"""How the demo shop's customers pay."""

from __future__ import annotations

from decimal import Decimal

from portal.actions import balance, payments
from portal.actions.desk import find
from portal.rules.payments import How
from seed.scene import Scene


def pays(scene: Scene, *, as_it_came: bool = False) -> None:
    """All that is open, each in their own way; nothing where nothing is."""
    desk, account = scene.house.desk, balance.as_it_came if as_it_came else balance.of
    with desk.reading() as connection:
        policy = desk.policy(connection)
        open_minor = account(connection, find(connection, scene.number), policy).open_minor
    if open_minor:
        how = list(How)[open_minor // 100 % 3]
        reference = f"{scene.number} thanks" if how is How.TRANSFER else ""
        typed = payments.Typed(str(Decimal(open_minor).scaleb(-2)), how.value, reference)
        payments.take(desk, scene.house.bench, scene.number, typed)


def pays_a_deposit(scene: Scene, amount: str) -> None:
    """A part, in cash, before it is ready."""
    payments.take(scene.house.desk, scene.house.bench, scene.number, payments.Typed(amount, How.CASH))

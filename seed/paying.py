"""How the demo shop's customers pay, and have money back."""

from __future__ import annotations

from decimal import Decimal

from portal.actions import balance, cancelled, charges, payments
from portal.actions.desk import find
from portal.rules.cancelled import How as Declared
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


def lets_off(scene: Scene, amount: str) -> None:
    """The keeper does not ask for a part of the price."""
    why = scene.text(scene.house.words["let_off"])
    charges.let_off(scene.house.desk, scene.house.keeper, scene.number, amount, why)


def cancels(scene: Scene, *, percent: str) -> None:
    """A letter: the newest thing agreed to is cancelled; so much of it was done by then."""
    desk = scene.house.desk
    with desk.reading() as connection:
        ticket, policy = find(connection, scene.number), desk.policy(connection)
        ref = cancelled.cancellable(connection, ticket)[-1].ref
        typed = cancelled.Typed(
            how=Declared.LETTER, words=scene.house.words["cancelled"], refs=[ref], parts={ref: percent}
        )
        follows = cancelled.foresee(desk, connection, ticket, policy, typed)
    cancelled.cancel(desk, scene.house.bench, scene.number, typed, confirmed=follows.mark)


def is_paid_back(scene: Scene) -> None:
    """All that is owed back, by transfer."""
    desk = scene.house.desk
    with desk.reading() as connection:
        account = balance.of(connection, find(connection, scene.number), desk.policy(connection))
    amount = str(Decimal(account.credit_minor).scaleb(-2))
    payments.give_back(desk, scene.house.bench, scene.number, payments.Typed(amount, How.TRANSFER, scene.number))


def storage_is_stated(scene: Scene) -> None:
    """The keeper states what the accepted terms allow by today."""
    charges.state_storage(scene.house.desk, scene.house.keeper, scene.number)

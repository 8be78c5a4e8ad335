"""How accounts stand, as rows: one for each ticket on which any money was spoken of."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from portal.rules.money import Price
from portal.rules.questions import State
from portal.store.balance_tables import balances
from portal.store.question_tables import questions
from portal.store.tables import tickets

_OF_TICKET = select(balances.c.open_minor, balances.c.currency).where(balances.c.ticket_id == bindparam("wanted"))
_MISSING = (
    select(tickets.c.number)
    .where(
        tickets.c.ending.is_(None),
        select(questions.c.id)
        .where(questions.c.ticket_id == tickets.c.id, questions.c.state == State.AGREED.value)
        .exists(),
        ~select(balances.c.ticket_id).where(balances.c.ticket_id == tickets.c.id).exists(),
    )
    .order_by(tickets.c.id)
)
_CHANGE = (
    update(balances)
    .where(balances.c.ticket_id == bindparam("wanted"))
    .values(open_minor=bindparam("minor"), currency=bindparam("of"))
)
_GONE = delete(balances).where(balances.c.ticket_id == bindparam("wanted"))


def of_ticket(connection: Connection, ticket_id: int) -> Price | None:
    """What is open (less than nothing: owed back), or None where no money was spoken of."""
    row = connection.execute(_OF_TICKET, {"wanted": ticket_id}).first()
    return Price(row.open_minor, row.currency) if row else None


def missing(connection: Connection) -> Sequence[str]:
    """The numbers of the open tickets on which something was agreed, and how they stand was never written down."""
    return connection.execute(_MISSING).scalars().all()


def keep(connection: Connection, ticket_id: int, stands: Price | None) -> None:
    """Write down how it stands, in place of what was before."""
    if stands is None:
        connection.execute(_GONE, {"wanted": ticket_id})
    elif not connection.execute(_CHANGE, {"wanted": ticket_id, "minor": stands.minor, "of": stands.currency}).rowcount:
        new = {"ticket_id": ticket_id, "open_minor": stands.minor, "currency": stands.currency}
        connection.execute(insert(balances), new)

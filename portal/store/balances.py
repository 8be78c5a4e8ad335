"""How accounts stand, as rows: one for each ticket on which any money was spoken of."""

from __future__ import annotations

from sqlalchemy import Connection, bindparam, delete, insert, select, update

from portal.rules.money import Price
from portal.store.balance_tables import balances

_OF_TICKET = select(balances.c.open_minor, balances.c.currency).where(balances.c.ticket_id == bindparam("wanted"))
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


def keep(connection: Connection, ticket_id: int, stands: Price | None) -> None:
    """Write down how it stands, in place of what was before."""
    if stands is None:
        connection.execute(_GONE, {"wanted": ticket_id})
    elif not connection.execute(_CHANGE, {"wanted": ticket_id, "minor": stands.minor, "of": stands.currency}).rowcount:
        new = {"ticket_id": ticket_id, "open_minor": stands.minor, "currency": stands.currency}
        connection.execute(insert(balances), new)

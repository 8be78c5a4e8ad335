"""How the account of a ticket stands, as one row for the customer's page, which reads it with the ticket."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, ForeignKey, Integer, String, Table

from portal.store.tables import MONEY, NONE, metadata

# Kept by every deed that changes the account, since the page has no time to reckon it. No row: no money was spoken of.
balances = Table(
    "balances",
    metadata,
    Column("ticket_id", Integer, ForeignKey("tickets.id", ondelete="CASCADE"), primary_key=True, info=NONE),
    Column("open_minor", BigInteger, nullable=False, info=MONEY),  # less than nothing: so much is owed back
    Column("currency", String(3), nullable=False, info=MONEY),
)

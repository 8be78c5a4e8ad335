"""What the shop owes back, and by when: one row for a ticket, as long as something is owed."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Date, ForeignKey, Index, Integer, Table

from notifications.instants import Instant
from portal.store.tables import MONEY, NONE, metadata

refunds_due = Table(
    "refunds_due",
    metadata,
    Column("ticket_id", Integer, ForeignKey("tickets.id", ondelete="CASCADE"), primary_key=True, info=NONE),
    Column("amount_minor", BigInteger, nullable=False, info=MONEY),  # in the shop's currency
    Column("due_on", Date, nullable=False, info=MONEY),
    Column("told_at", Instant, info=MONEY),  # when the keepers heard that the day has passed
    Index("ix_refunds_due_due_on", "due_on"),
)

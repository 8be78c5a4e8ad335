"""The table of calls to make: what customers are to be told by telephone. Whom, and the words, are found when shown."""

from __future__ import annotations

from sqlalchemy import JSON, Column, Index, Integer, String, Table

from notifications.instants import Instant
from portal.rules.categories import Category
from portal.store.tables import NONE, holds, metadata

MESSAGE = holds(Category.MESSAGE)

calls_due = Table(
    "calls_due",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("message_id", String(32), nullable=False, unique=True, info=MESSAGE),  # one handed over twice is one call
    Column("recipient", String(40), nullable=False, info=MESSAGE),  # the contact's ref
    Column("reference", String(40), nullable=False, info=MESSAGE),  # the visit's or ticket's ref
    Column("event", String(40), nullable=False, info=MESSAGE),
    Column("facts", JSON, nullable=False, info=MESSAGE),  # of all that gathered, a list
    Column("made_at", Instant, nullable=False, info=MESSAGE),
    Column("closed_at", Instant, info=MESSAGE),  # rung, or no longer wanted
)
_OPEN = calls_due.c.closed_at.is_(None)
# Serves the list of whom to ring.
Index("ix_calls_due_open", calls_due.c.made_at, sqlite_where=_OPEN, postgresql_where=_OPEN)
Index("ix_calls_due_reference", calls_due.c.reference)  # serves forgetting what was said about a ticket

"""The table of consents to publish pictures or film of a device. No row is a no."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, ForeignKey, Index, Integer, String, Table, Text

from notifications.instants import Instant
from portal.rules.categories import Category
from portal.store.tables import NONE, STAFF, holds, metadata, of_ticket, one_of

PUBLICATION = holds(Category.PUBLICATION)

# A consent that was taken back stays until its period is over: what was published until then was allowed.
publication_consents = Table(
    "publication_consents",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("shown", Text, nullable=False, info=PUBLICATION),  # the words that were agreed to
    Column("language", String(20), nullable=False, info=PUBLICATION),
    Column("by_kind", String(10), nullable=False, info=PUBLICATION),  # "staff" heard it at the counter
    Column("by_staff", Integer, ForeignKey("staff.id"), info=STAFF),
    Column("given_at", Instant, nullable=False, info=PUBLICATION),
    Column("withdrawn_at", Instant, info=PUBLICATION),
    Index("ix_publication_consents_ticket_id", "ticket_id"),
    one_of("by_kind", ("staff", "customer", "command")),
    CheckConstraint("(by_kind = 'staff') = (by_staff IS NOT NULL)", name="by_staff"),
)

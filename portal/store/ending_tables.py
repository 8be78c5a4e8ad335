"""The tables of endings that drag on: formal notices, complaints, devices that come back within their warranty.

All hang on their ticket and go with it. What was said stands in the journal; here is what is looked for and reckoned.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
)

from notifications.instants import Instant
from portal.rules.formal_notices import Kind
from portal.rules.warranty import Verdict, Way
from portal.store.tables import CONTACT, DEVICE, NONE, RECORD, metadata, of_ticket, one_of

# One row a letter. What it says of the shop is found by the policy's revision.
formal_notices = Table(
    "formal_notices",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("kind", String(10), nullable=False, info=RECORD),
    Column("entry", Integer, nullable=False, info=NONE),  # the journal's, which says when and by whom it was made
    Column("policy_revision", Integer, ForeignKey("policies.revision"), nullable=False, info=NONE),
    Column("made_on", Date, nullable=False, info=RECORD),
    Column("recipient", String(120), nullable=False, info=CONTACT),
    Column("address", Text, nullable=False, info=CONTACT),
    Column("goods", String(400), nullable=False, info=DEVICE),
    Column("held_at", String(400), nullable=False, info=RECORD),
    Column("ready_on", Date, nullable=False, info=RECORD),
    Column("owed_minor", Integer, nullable=False, info=RECORD),  # in minor units of the shop's currency; 0 for nothing
    Column("owed_for", String(400), nullable=False, info=RECORD),
    Column("sell_from", Date, info=RECORD),  # the day that a notice of the intention to sell names
    Column("satisfied", Boolean, nullable=False, info=RECORD),  # the keeper: the customer owns it
    Column("was_due", Boolean, nullable=False, info=RECORD),  # the keeper: it was lawfully due before
    Column("posted_on", Date, info=RECORD),
    Column("reference", String(60), nullable=False, server_default="", info=RECORD),  # of the recorded post
    Column("proof", String(10), info=RECORD),  # the photo of the proof of posting, by what the journal calls it
    Column("taken_back", Boolean, nullable=False, server_default=false(), info=RECORD),
    one_of("kind", tuple(Kind)),
    Index("ix_formal_notices_ticket_id", "ticket_id"),
)

complaints = Table(
    "complaints",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("entry", Integer, nullable=False, info=NONE),  # the journal's, in the customer's words
    Column("opened_at", Instant, nullable=False, info=RECORD),
    Column("answer_by", Date, nullable=False, info=RECORD),
    Column("answered_at", Instant, info=RECORD),
    Column("closed_at", Instant, info=RECORD),
    Column("paused", JSON, nullable=False, info=RECORD),  # the kinds of data that it keeps
    Index("ix_complaints_ticket_id", "ticket_id"),
)
_OPEN = complaints.c.closed_at.is_(None)
# Serves the page of today: what is open, whatever was ever said.
Index("ix_complaints_open", complaints.c.answer_by, sqlite_where=_OPEN, postgresql_where=_OPEN)

# One row a device that came back within its warranty, at its new ticket.
warranty_returns = Table(
    "warranty_returns",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("earlier_id", Integer, ForeignKey("tickets.id", ondelete="SET NULL"), info=NONE),
    Column("until", Date, nullable=False, info=RECORD),  # how long the warranty ran
    Column("verdict", String(10), info=RECORD),  # NULL until somebody has looked
    Column("way", String(10), info=RECORD),  # who pays the way here and back
    Column("decided_at", Instant, info=RECORD),
    Column("objected_at", Instant, info=RECORD),  # the customer does not think so
    UniqueConstraint("ticket_id"),
    one_of("verdict", tuple(Verdict)),
    one_of("way", tuple(Way)),
    Index("ix_warranty_returns_earlier_id", "earlier_id"),
)

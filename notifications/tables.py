"""This package's own tables. Each column names the category of data it holds, as the portal's do."""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    CheckConstraint,
    Column,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from notifications.instants import Instant

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    }
)

STATES = ("waiting", "claimed", "sent", "unknown", "failed", "withdrawn", "expired")
_MESSAGE = {"category": "message"}
_NONE = {"category": "none"}
_TECHNICAL = {"category": "technical"}

outbox = Table(
    "outbox",
    metadata,
    Column("id", Integer, primary_key=True, info=_NONE),
    Column("event", String(40), nullable=False, info=_MESSAGE),
    # What caused the message: unique with its recipient for ever, so that a repeated deed makes no second message.
    Column("cause", String(120), nullable=False, info=_MESSAGE),
    Column("recipient", String(40), nullable=False, info=_MESSAGE),
    Column("reference", String(40), nullable=False, info=_MESSAGE),
    Column("channels", JSON, nullable=False, info=_MESSAGE),
    Column("channel", Integer, nullable=False, server_default="0", info=_MESSAGE),  # place in `channels`
    Column("not_before", Instant, nullable=False, info=_MESSAGE),
    Column("expires_at", Instant, nullable=False, info=_MESSAGE),
    Column("gather", String(120), info=_MESSAGE),  # messages of one key that wait together go out as one
    Column("facts", JSON, nullable=False, info=_MESSAGE),
    Column("wording", Integer, info=_NONE),  # the wording's revision when the message was written
    Column("made_at", Instant, nullable=False, info=_MESSAGE),
    Column("state", String(12), nullable=False, server_default="waiting", info=_MESSAGE),
    Column("attempts", Integer, nullable=False, server_default="0", info=_TECHNICAL),
    Column("due_at", Instant, nullable=False, info=_TECHNICAL),  # when it may next be tried
    Column("unknowns", Integer, nullable=False, server_default="0", info=_TECHNICAL),  # lines broken in handing over
    Column("lease", String(32), info=_TECHNICAL),
    Column("lease_until", Instant, info=_TECHNICAL),
    Column("handing_over_at", Instant, info=_TECHNICAL),
    Column("message_id", String(120), info=_MESSAGE),
    Column("settled_at", Instant, info=_MESSAGE),
    Column("outcome", Text, info=_MESSAGE),  # what the other side said, shortened
    UniqueConstraint("cause", "recipient"),
    CheckConstraint(f"state IN {STATES}", name="state"),
    CheckConstraint("(state = 'claimed') = (lease IS NOT NULL)", name="lease"),
    Index("ix_outbox_reference", "reference"),
    Index("ix_outbox_lease", "lease"),  # settling: few rows have one
)
# Serves the claim: what is open and due, the oldest first. Long-sent rows are not in it.
_OPEN = outbox.c.state.in_(("waiting", "claimed", "unknown"))
Index("ix_outbox_due", outbox.c.due_at, sqlite_where=_OPEN, postgresql_where=_OPEN)

heartbeats = Table(
    "heartbeats",
    metadata,
    Column("sweep", String(40), primary_key=True, info=_NONE),
    Column("at", Instant, nullable=False, info=_NONE),
    Column("looked_at", Integer, nullable=False, info=_NONE),
    Column("done", Integer, nullable=False, info=_NONE),
    Column("failed", Integer, nullable=False, info=_NONE),
)

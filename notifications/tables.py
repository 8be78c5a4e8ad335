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
    Column("wording", Integer, info=_NONE),  # which words it was last handed over in; None: the program's own
    Column("made_at", Instant, nullable=False, info=_MESSAGE),
    Column("state", String(12), nullable=False, server_default="waiting", info=_MESSAGE),
    Column("attempts", Integer, nullable=False, server_default="0", info=_TECHNICAL),  # on this channel
    Column("due_at", Instant, nullable=False, info=_TECHNICAL),  # when it may next be tried
    # Hand-overs that were begun and not answered: each may have reached the recipient.
    Column("unknowns", Integer, nullable=False, server_default="0", info=_TECHNICAL),
    Column("lease", String(32), info=_TECHNICAL),
    Column("lease_until", Instant, info=_TECHNICAL),
    Column("handing_over_at", Instant, info=_TECHNICAL),
    Column("message_id", String(32), info=_MESSAGE),  # shared by messages that go out as one
    Column("settled_at", Instant, info=_MESSAGE),  # set when nothing will be tried any more
    Column("outcome", Text, info=_MESSAGE),  # what the other side said, shortened
    Column("decided_at", Instant, info=_MESSAGE),  # when somebody decided that no more is done about its failing
    Column("emptied_at", Instant, info=_NONE),  # when all but the fact that it was sent went
    UniqueConstraint("cause", "recipient"),
    CheckConstraint(f"state IN {STATES}", name="state"),
    CheckConstraint("(state = 'claimed') = (lease IS NOT NULL)", name="lease"),
    CheckConstraint("state NOT IN ('waiting', 'claimed') OR settled_at IS NULL", name="open"),
    CheckConstraint("state IN ('waiting', 'claimed', 'unknown') OR settled_at IS NOT NULL", name="settled"),
    Index("ix_outbox_reference", "reference"),  # what was sent about a ticket
)
OPEN = outbox.c.settled_at.is_(None)
_FULL = outbox.c.settled_at.is_not(None) & outbox.c.emptied_at.is_(None)
_GATHERING = OPEN & outbox.c.gather.is_not(None)
_TROUBLE = outbox.c.state.in_(("failed", "unknown"))
# Serves the claim: what is open and due, the oldest first. Settled rows are not in it, so a long past costs nothing.
Index("ix_outbox_due", outbox.c.due_at, outbox.c.id, sqlite_where=OPEN, postgresql_where=OPEN)
# Serves the claim of messages that go out as one.
Index("ix_outbox_gather", outbox.c.gather, sqlite_where=_GATHERING, postgresql_where=_GATHERING)
# Serves the emptying: what is settled and not emptied yet.
Index("ix_outbox_full", outbox.c.settled_at, sqlite_where=_FULL, postgresql_where=_FULL)
# Serves the list of what could not be delivered.
Index("ix_outbox_trouble", outbox.c.settled_at, sqlite_where=_TROUBLE, postgresql_where=_TROUBLE)

heartbeats = Table(
    "heartbeats",
    metadata,
    Column("sweep", String(40), primary_key=True, info=_NONE),
    Column("at", Instant, nullable=False, info=_NONE),  # what the clock said at the last pass
    Column("newest_at", Instant, nullable=False, info=_NONE),  # the latest that it ever said
    Column("looked_at", Integer, nullable=False, info=_NONE),
    Column("done", Integer, nullable=False, info=_NONE),
    Column("failed", Integer, nullable=False, info=_NONE),
)

"""What is still kept of visits whose devices have left, what pauses its end, and what was erased."""

from __future__ import annotations

from sqlalchemy import Column, Date, ForeignKey, Index, Integer, String, Table, Text, UniqueConstraint

from notifications.instants import Instant
from portal.store.tables import NONE, RECORD, STAFF, metadata

# One row for each kind of data that a visit still holds once its last device has left; the purge takes the row with
# the data. So what is due is found by its start, whatever periods the policy has by now, and a long past costs nothing.
keeping = Table(
    "keeping",
    metadata,
    Column("visit_id", Integer, ForeignKey("visits.id", ondelete="CASCADE"), primary_key=True, info=NONE),
    Column("kept", String(20), primary_key=True, info=NONE),  # a name of the register
    Column("since", Instant, nullable=False, info=RECORD),  # when its period began
    Index("ix_keeping_kept_since", "kept", "since"),
)

# A dispute or a claim pauses the end of named kinds of data, with a reason, until a day, never for ever.
pauses = Table(
    "pauses",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("visit_id", Integer, ForeignKey("visits.id", ondelete="CASCADE"), nullable=False, info=NONE),
    Column("kept", String(20), nullable=False, info=RECORD),
    Column("reason", Text, nullable=False, info=RECORD),
    Column("until", Date, nullable=False, info=RECORD),  # the day on which somebody must look again
    Column("made_at", Instant, nullable=False, info=RECORD),
    Column("by_staff", Integer, ForeignKey("staff.id"), info=STAFF),
    UniqueConstraint("visit_id", "kept"),
)

# What was erased, as counts only (GDPR Art. 5(2): to be able to show it).
purges = Table(
    "purges",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("at", Instant, nullable=False, info=NONE),
    Column("kept", String(20), nullable=False, info=NONE),
    Column("count", Integer, nullable=False, info=NONE),
    Column("policy_revision", Integer, nullable=False, info=NONE),
)

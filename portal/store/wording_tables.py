"""The shop's own words for messages: append-only revisions, so that it stays known which words went out."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Integer, String, Table, Text, UniqueConstraint

from notifications.instants import Instant
from portal.store.tables import NONE, STAFF, metadata

wordings = Table(
    "wordings",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),  # what a sent message names its words by
    Column("event", String(40), nullable=False, info=NONE),
    Column("occasion", String(40), nullable=False, info=NONE),
    Column("language", String(35), nullable=False, info=NONE),
    Column("revision", Integer, nullable=False, info=NONE),  # from 1, of this event, occasion and language
    # "" stands for the words that the program brings.
    Column("subject", Text, nullable=False, info=NONE),
    Column("text", Text, nullable=False, info=NONE),
    Column("sms", Text, nullable=False, info=NONE),
    Column("push", Text, nullable=False, info=NONE),
    Column("say", Text, nullable=False, info=NONE),
    Column("made_at", Instant, nullable=False, info=NONE),
    Column("made_by", Integer, ForeignKey("staff.id", ondelete="SET NULL"), info=STAFF),
    UniqueConstraint("event", "occasion", "language", "revision"),  # of two who save at once, one is told
)

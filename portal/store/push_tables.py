"""The table of the devices on which contacts listen: where their push services take notices, and the keys to seal them.

They say nothing of who listens, and are of no use without the shop's own key, which lies outside the database.
"""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Integer, String, Table, UniqueConstraint

from notifications.instants import Instant
from portal.rules.categories import Category
from portal.store.tables import NONE, TECHNICAL, holds, metadata

PUSH = holds(Category.PUSH)

push_devices = Table(
    "push_devices",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    Column("contact_id", Integer, ForeignKey("contacts.id", ondelete="CASCADE"), nullable=False, info=NONE),
    Column("endpoint", String(1000), nullable=False, info=PUSH),
    Column("key", String(100), nullable=False, info=TECHNICAL),  # the device's public point, base64url
    Column("secret", String(30), nullable=False, info=TECHNICAL),  # what it shares with the shop alone, base64url
    Column("since", Instant, nullable=False, info=PUSH),
    UniqueConstraint("contact_id", "endpoint"),
)

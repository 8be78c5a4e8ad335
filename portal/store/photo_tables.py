"""The table of photos. It hangs on its ticket and goes with it; the files are for `photo_files`."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, String, Table

from notifications.instants import Instant
from portal.rules.categories import Category
from portal.store.tables import NONE, holds, metadata, one_of

PHOTO = holds(Category.PHOTO)
MOMENTS = ("before", "after", "tray", "other")

photos = Table(
    "photos",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=PHOTO),
    Column("ticket_id", Integer, ForeignKey("tickets.id", ondelete="CASCADE"), nullable=False, info=NONE),
    Column("moment", String(10), nullable=False, info=PHOTO),
    Column("stage", String(40), info=PHOTO),  # where the ticket stood
    Column("audience", String(10), nullable=False, info=PHOTO),
    Column("caption", String(120), nullable=False, server_default="", info=PHOTO),
    Column("width", Integer, nullable=False, info=PHOTO),
    Column("height", Integer, nullable=False, info=PHOTO),
    Column("taken_in_at", Instant, nullable=False, info=PHOTO),
    one_of("moment", MOMENTS),
    one_of("audience", ("bench", "customer")),
    Index("ix_photos_ticket_id", "ticket_id"),
)

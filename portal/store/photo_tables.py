"""The tables of photos and of their pairs. They hang on their ticket and go with it; files are for `photo_files`."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Index, Integer, String, Table, false

from notifications.instants import Instant
from portal.rules.categories import Category
from portal.store.tables import NONE, holds, metadata, of_ticket, one_of

PHOTO = holds(Category.PHOTO)
MOMENTS = ("before", "after", "tray", "other")

photos = Table(
    "photos",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=PHOTO),  # names its files, and is new with them
    Column("first_ref", String(10), info=PHOTO),  # what it was called before parts of it were hidden
    of_ticket(),
    Column("moment", String(10), nullable=False, info=PHOTO),
    Column("stage", String(40), info=PHOTO),  # where the ticket stood
    Column("audience", String(10), nullable=False, info=PHOTO),
    Column("caption", String(120), nullable=False, server_default="", info=PHOTO),
    Column("width", Integer, nullable=False, info=PHOTO),
    Column("height", Integer, nullable=False, info=PHOTO),
    Column("taken_in_at", Instant, nullable=False, info=PHOTO),
    Column("by_customer", Boolean, nullable=False, server_default=false(), info=PHOTO),  # sent by them: theirs alone
    one_of("moment", MOMENTS),
    one_of("audience", ("bench", "customer")),
    Index("ix_photos_ticket_id", "ticket_id"),
)

# A before and an after that belong together. Where the after picture could be laid over the before picture, that is a
# picture of its own, as large as the before picture, under `aligned_ref`.
photo_pairs = Table(
    "photo_pairs",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=PHOTO),
    of_ticket(),
    Column("before_id", Integer, ForeignKey("photos.id", ondelete="CASCADE"), nullable=False, unique=True, info=NONE),
    Column("after_id", Integer, ForeignKey("photos.id", ondelete="CASCADE"), nullable=False, unique=True, info=NONE),
    Column("aligned_ref", String(10), unique=True, info=PHOTO),
    Column("as_taken", Boolean, nullable=False, info=PHOTO),  # somebody would rather show it as it was taken
    Index("ix_photo_pairs_ticket_id", "ticket_id"),
)

# Copies of a photo with a ring or an arrow. They show what it shows: hidden and withdrawn they go with it.
photo_copies = Table(
    "photo_copies",
    metadata,
    Column("photo_id", Integer, ForeignKey("photos.id", ondelete="CASCADE"), primary_key=True, info=NONE),
    Column("original_id", Integer, ForeignKey("photos.id", ondelete="CASCADE"), nullable=False, info=PHOTO),
    Index("ix_photo_copies_original_id", "original_id"),
)

"""What the installation remembers of itself: one row a fact, none of it about a person."""

from __future__ import annotations

from sqlalchemy import Column, String, Table

from portal.store.tables import NONE, metadata

house = Table(
    "house",
    metadata,
    Column("name", String(40), primary_key=True, info=NONE),
    Column("value", String(400), nullable=False, info=NONE),
)

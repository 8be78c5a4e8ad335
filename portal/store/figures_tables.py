"""What the shop counts of itself, as a table: counts a week, of nobody."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, Date, Integer, String, Table

from portal.store.tables import NONE, metadata

figures = Table(
    "figures",
    metadata,
    Column("week", Date, primary_key=True, info=NONE),  # its Monday
    Column("measure", String(10), primary_key=True, info=NONE),
    Column("name", String(60), primary_key=True, info=NONE),  # a stage, a hold, an outcome; never a person's words
    Column("bucket", Integer, primary_key=True, info=NONE),
    Column("count", Integer, nullable=False, info=NONE),
    CheckConstraint("count > 0", name="count"),
)

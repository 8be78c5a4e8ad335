"""What is kept of ready windows: one for each device that is here and not ready, and what was learned of the past."""

from __future__ import annotations

from sqlalchemy import JSON, Boolean, Column, Date, Float, ForeignKey, Index, Integer, String, Table

from notifications.instants import Instant
from portal.store.tables import NONE, RECORD, metadata

# Pages only read this; the clock and the deeds that move a device write it. Gone when the device is ready or has left.
windows = Table(
    "windows",
    metadata,
    Column("ticket_id", Integer, ForeignKey("tickets.id", ondelete="CASCADE"), primary_key=True, info=NONE),
    Column("made_at", Instant, nullable=False, info=RECORD),
    Column("made_for", Integer, nullable=False, info=NONE),  # the ticket's revision then
    Column("why", String(10), nullable=False, info=RECORD),  # why customers are not shown it; "" where they are
    Column("found", Integer, nullable=False, info=NONE),  # finished repairs that speak
    Column("needed", Integer, nullable=False, info=NONE),
    # Days, all NULL where the past says nothing: of the window of 80 %, of that of 50 %, and the one in the middle.
    Column("first", Date, info=RECORD),
    Column("last", Date, info=RECORD),
    Column("half_first", Date, info=RECORD),
    Column("half_last", Date, info=RECORD),
    Column("median", Date, info=RECORD),
    Column("told_last", Date, info=RECORD),  # the last day that the customer could read first, or was told later
    Column("moved_since", Instant, info=RECORD),  # since when that day will probably be missed, and nobody told them
)
_MOVED = windows.c.moved_since.is_not(None)
# Serves the list of windows that will be missed.
Index("ix_windows_moved", windows.c.moved_since, sqlite_where=_MOVED, postgresql_where=_MOVED)

# What the past tells, learned anew each night: one row, beside a curve for each state, and kind of work in it.
learned = Table(
    "learned",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),  # 1
    Column("at", Instant, nullable=False, info=NONE),
    Column("policy_revision", Integer, nullable=False, info=NONE),
    Column("finished", Integer, nullable=False, info=NONE),  # devices that became ready
    Column("counts", JSON, nullable=False, info=NONE),  # of them, by state
    Column("came_out", JSON, nullable=False, info=NONE),  # how the last forecasts came out, sorted
    Column("cases", Integer, nullable=False, info=NONE),  # forecasts that windows are trusted by
    Column("coverage", Float, nullable=False, info=NONE),  # the share of them that held
    Column("held", Boolean, nullable=False, info=NONE),  # whether that is as often as they said
)
curves = Table(
    "curves",
    metadata,
    Column("state", String(90), primary_key=True, info=NONE),
    Column("kind", String(40), primary_key=True, info=NONE),  # "" for all
    Column("curve", JSON, nullable=False, info=NONE),
)

"""The tables of the bench record: condition on arrival, tray, test sheet, parts, cautions, announcements.

All hang on their ticket and go with it. Serial numbers are device identity; the rest is the condition and work record.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
)

from notifications.instants import Instant
from portal.rules.categories import Category
from portal.store.tables import CONTACT, DEVICE, NONE, RECORD, STAFF, holds, metadata, of_ticket, one_of


def _record_text(name: str, length: int) -> Column[str]:
    return Column(name, String(length), nullable=False, server_default="", info=RECORD)


# One row a version: what was written stays, and the customer's answer belongs to the version that they read.
intake_records = Table(
    "intake_records",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("version", Integer, nullable=False, info=NONE),
    Column("made_at", Instant, nullable=False, info=RECORD),
    Column("shop_sees", Text, nullable=False, info=RECORD),
    Column("serial", String(60), nullable=False, info=DEVICE),
    Column("marks", JSON, nullable=False, info=RECORD),
    Column("seal", String(20), nullable=False, info=RECORD),
    Column("earlier_repair", String(400), nullable=False, info=RECORD),
    Column("liquid", String(30), nullable=False, info=RECORD),
    Column("battery", JSON, nullable=False, info=RECORD),
    Column("items", JSON, nullable=False, info=RECORD),
    Column("came_by", String(10), nullable=False, info=RECORD),
    Column("carrier", String(60), nullable=False, info=RECORD),
    Column("parcel_ref", String(60), nullable=False, info=RECORD),
    Column("backed_up", String(10), nullable=False, info=RECORD),
    Column("may_reset", String(10), nullable=False, info=RECORD),
    Column("signed_out", String(10), nullable=False, info=RECORD),
    Column("maker_warranty", String(10), nullable=False, info=RECORD),
    Column("may_open", String(10), nullable=False, info=RECORD),
    Column("unlocking", String(20), nullable=False, info=RECORD),
    Column("answers_note", String(400), nullable=False, info=RECORD),
    Column("answer", String(10), info=RECORD),  # the customer's, once
    Column("answered_at", Instant, info=RECORD),
    Column("objection", Text, nullable=False, server_default="", info=RECORD),
    Column("made_safe_at", Instant, info=RECORD),  # when a flagged battery was dealt with
    UniqueConstraint("ticket_id", "version"),
    one_of("answer", ("agreed", "objected")),
    CheckConstraint("(answer IS NULL) = (answered_at IS NULL)", name="answered_at"),
)

tray_lines = Table(
    "tray_lines",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("line", Integer, nullable=False, info=NONE),  # 1, 2, 3 … within its ticket
    Column("what", String(120), nullable=False, info=RECORD),
    Column("count", Integer, nullable=False, info=RECORD),
    Column("counted", Boolean, nullable=False, info=RECORD),
    _record_text("taken_from", 120),
    _record_text("lies_at", 120),
    _record_text("length_warning", 120),
    Column("whose", String(10), nullable=False, info=RECORD),
    Column("put_back", Integer, nullable=False, server_default="0", info=RECORD),
    Column("replaced", Integer, nullable=False, server_default="0", info=RECORD),
    Column("handed_over", Integer, nullable=False, server_default="0", info=RECORD),
    _record_text("replaced_by", 240),
    Column("struck", Boolean, nullable=False, info=RECORD),
    UniqueConstraint("ticket_id", "line"),
    one_of("whose", ("customer", "shop")),
    CheckConstraint("count BETWEEN 1 AND 999", name="count"),
    CheckConstraint("put_back >= 0 AND replaced >= 0 AND handed_over >= 0", name="ends"),
    CheckConstraint("put_back + replaced + handed_over <= count", name="counts_meet"),
)

test_results = Table(
    "test_results",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("check_key", String(40), nullable=False, info=RECORD),
    Column("occasion", String(10), nullable=False, info=RECORD),
    Column("result", String(20), nullable=False, info=RECORD),
    _record_text("note", 400),
    Column("value", String(24), info=RECORD),  # a decimal, exactly as measured; no float
    _record_text("let_through", 400),
    Column("soak_until", Instant, info=RECORD),
    Column("tried_at", Instant, nullable=False, info=RECORD),
    UniqueConstraint("ticket_id", "check_key", "occasion"),
    one_of("occasion", ("before", "after")),
    one_of("result", ("pass", "fail", "not applicable", "not tried")),
    Index("ix_test_results_soak_until", "soak_until"),  # the bench's list of soak tests
)

safety_tests = Table(
    "safety_tests",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("done", Boolean, nullable=False, info=RECORD),
    _record_text("by_whom", 120),
    _record_text("instrument", 120),
    Column("tested_on", Date, info=RECORD),
    _record_text("result", 400),
    UniqueConstraint("ticket_id"),
)

donors = Table(
    "donors",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("device", String(120), nullable=False, info=DEVICE),
    Column("whose", String(120), nullable=False, info=CONTACT),
    Column("consent", String(400), nullable=False, info=CONTACT),  # where the owner's written consent lies
    Column("made_at", Instant, nullable=False, info=NONE),
)

parts = Table(
    "parts",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("part", Integer, nullable=False, info=NONE),  # 1, 2, 3 … within its ticket
    Column("what", String(120), nullable=False, info=RECORD),
    Column("state", String(20), nullable=False, info=RECORD),
    Column("origin", String(30), nullable=False, info=RECORD),
    _record_text("supplier", 120),
    _record_text("reference", 60),
    Column("expected_on", Date, info=RECORD),
    Column("warranty_months", Integer, info=RECORD),
    Column("donor_id", Integer, ForeignKey("donors.id", ondelete="SET NULL"), info=NONE),
    UniqueConstraint("ticket_id", "part"),
    one_of("state", ("ordered", "arrived", "wrong part", "dead on arrival", "fitted")),
    CheckConstraint("state <> 'ordered' OR expected_on IS NOT NULL", name="expected_on"),
    Index("ix_parts_donor_id", "donor_id"),
)
_AWAITED = parts.c.state == "ordered"
# Serves the list of all parts due; settled orders are not in it.
Index("ix_parts_awaited", parts.c.expected_on, sqlite_where=_AWAITED, postgresql_where=_AWAITED)

courtesies = Table(
    "courtesies",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("what", String(120), nullable=False, info=RECORD),
    Column("given_at", Instant, nullable=False, info=RECORD),
    Index("ix_courtesies_ticket_id", "ticket_id"),
)

acknowledgements = Table(
    "acknowledgements",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("staff_id", Integer, ForeignKey("staff.id", ondelete="CASCADE"), nullable=False, info=STAFF),
    Column("caution", String(40), nullable=False, info=STAFF),
    Column("wording", String(16), nullable=False, info=STAFF),
    Column("ticket_id", Integer, ForeignKey("tickets.id", ondelete="CASCADE"), info=NONE),  # NULL: for all tickets
    Column("read_at", Instant, nullable=False, info=STAFF),
    Index("ix_acknowledgements_staff_id", "staff_id", "ticket_id"),
    Index("ix_acknowledgements_ticket_id", "ticket_id"),
)

announcements = Table(
    "announcements",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("items", JSON, nullable=False, info=RECORD),
    Column("return_address", Text, nullable=False, info=CONTACT),
    Column("declared_minor", Integer, info=holds(Category.MONEY)),
    Column("received_at", Instant, info=RECORD),
    Column("arrived", JSON, nullable=False, info=RECORD),  # the items that came
    Column("parcel_damage", String(400), nullable=False, server_default="", info=RECORD),
    UniqueConstraint("ticket_id"),
)

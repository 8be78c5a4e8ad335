"""Money: what came in and went back, charges that are no question's, and the statements of it.

All hang on their ticket. Append-only: triggers refuse changes, and deleting while the shop has the device. A mistake is
reversed by a row of its own. No row names who paid: the ticket is the reference.
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    BigInteger,
    CheckConstraint,
    Column,
    Date,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    UniqueConstraint,
)

from notifications.instants import Instant
from portal.rules.payments import How, Kind
from portal.store.tables import MONEY, NONE, STAFF, TECHNICAL, metadata, of_ticket, one_of

STORAGE, LET_OFF = "storage", "let off"  # the kinds of `adjustments`

payments = Table(
    "payments",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    of_ticket(),
    Column("kind", String(10), nullable=False, info=MONEY),
    Column("amount_minor", BigInteger, nullable=False, info=MONEY),
    Column("currency", String(3), nullable=False, info=MONEY),
    Column("how", String(20), nullable=False, info=MONEY),
    Column("reference", String(60), nullable=False, server_default="", info=MONEY),
    Column("moved_on", Date, nullable=False, info=MONEY),
    Column("at", Instant, nullable=False, info=MONEY),
    Column("by_staff", Integer, ForeignKey("staff.id"), info=STAFF),
    Column("reverses", Integer, ForeignKey("payments.id", ondelete="CASCADE"), unique=True, info=NONE),
    Column("why", String(400), nullable=False, server_default="", info=MONEY),  # of a reversal
    one_of("kind", tuple(Kind)),
    one_of("how", tuple(How)),
    CheckConstraint("amount_minor > 0", name="above_nothing"),
    Index("ix_payments_ticket_id", "ticket_id"),
)

# A charge for storage as the keeper stated it, and what the shop does not ask for after all.
adjustments = Table(
    "adjustments",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    of_ticket(),
    Column("kind", String(10), nullable=False, info=MONEY),
    Column("amount_minor", BigInteger, nullable=False, info=MONEY),
    Column("currency", String(3), nullable=False, info=MONEY),
    Column("tax_percent", String(10), info=MONEY),  # of storage; NULL: a shop without tax
    Column("why", String(400), nullable=False, server_default="", info=MONEY),
    Column("at", Instant, nullable=False, info=MONEY),
    Column("by_staff", Integer, ForeignKey("staff.id"), info=STAFF),
    Column("reverses", Integer, ForeignKey("adjustments.id", ondelete="CASCADE"), unique=True, info=NONE),
    one_of("kind", (STORAGE, LET_OFF)),
    CheckConstraint("amount_minor > 0", name="above_nothing"),
    Index("ix_adjustments_ticket_id", "ticket_id"),
)

# Numbered without gaps. One that is wrong, or was overtaken, is reversed by another, which has a number of its own.
statements = Table(
    "statements",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("number", Integer, nullable=False, unique=True, info=MONEY),
    of_ticket(),
    Column("document", JSON, nullable=False, info=MONEY),  # see `rules.statements`
    Column("open_minor", BigInteger, nullable=False, info=MONEY),  # still to be paid, as the document says
    Column("at", Instant, nullable=False, info=MONEY),
    Column("reverses", Integer, ForeignKey("statements.id", ondelete="CASCADE"), unique=True, info=NONE),
    UniqueConstraint("ticket_id", "number"),
)

_UNPAID = statements.c.open_minor > 0
# Serves the list of what was left unpaid: as small as that is.
Index("ix_statements_unpaid", statements.c.id, sqlite_where=_UNPAID, postgresql_where=_UNPAID)

# One row a series of numbers: taken in the transaction that uses it, so that one undone leaves no gap.
series = Table(
    "series",
    metadata,
    Column("name", String(20), primary_key=True, info=NONE),
    Column("last", Integer, nullable=False, info=NONE),
)

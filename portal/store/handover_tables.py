"""The tables of the end of a ticket: how its owner wants it back, handovers, signatures, parcels, wishes to give it up.

All hang on their ticket and go with it. An address and a name are contact data, a signature and a wish are evidence.
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
from portal.rules.giving_up import Data
from portal.rules.handing_over import Proof
from portal.rules.return_ways import Way
from portal.store.tables import APPROVAL, CONTACT, NONE, RECORD, STAFF, metadata, of_ticket, one_of

# One row a ticket, from the first choice on; it stays when a choice is gone, so that calendars see the change.
return_choices = Table(
    "return_choices",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("way", String(10), info=RECORD),  # NULL: nothing is chosen any more
    Column("day", Date, info=RECORD),  # the last that was chosen, for the calendar file
    Column("person", String(120), nullable=False, server_default="", info=CONTACT),  # whom the owner sends
    Column("address", Text, nullable=False, server_default="", info=CONTACT),  # for this ticket only
    Column("sequence", Integer, nullable=False, server_default="0", info=RECORD),  # grows with each change of the day
    Column("chosen_at", Instant, nullable=False, info=RECORD),
    UniqueConstraint("ticket_id"),
    one_of("way", tuple(Way)),
)

handovers = Table(
    "handovers",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("entry", Integer, nullable=False, info=NONE),  # the journal's, which says when and by whom
    Column("proof", String(20), nullable=False, info=RECORD),
    Column("checked", JSON, nullable=False, info=RECORD),  # keys of what was looked at in place of a code
    Column("left_out", JSON, nullable=False, info=RECORD),  # items handed in that did not go with it, by their words
    Column("missing", String(400), nullable=False, server_default="", info=RECORD),  # what became of them
    Column("unsettled", String(400), nullable=False, server_default="", info=RECORD),  # why it went unpaid
    Column("tested", Boolean, nullable=False, info=RECORD),  # the customer was shown that it works
    UniqueConstraint("ticket_id", "entry"),
    one_of("proof", tuple(Proof)),
)

handover_signatures = Table(
    "handover_signatures",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("entry", Integer, nullable=False, info=NONE),
    Column("at", Instant, nullable=False, info=APPROVAL),
    Column("strokes", JSON, nullable=False, info=APPROVAL),
    UniqueConstraint("ticket_id", "entry"),
)

# One row a parcel to the owner; one that came back has its day, and another may follow.
parcels = Table(
    "parcels",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("entry", Integer, nullable=False, info=NONE),
    Column("carrier", String(60), nullable=False, info=RECORD),
    Column("reference", String(60), nullable=False, info=RECORD),
    Column("posted_on", Date, nullable=False, info=RECORD),
    Column("delivered_on", Date, info=RECORD),
    Column("came_back_on", Date, info=RECORD),
    UniqueConstraint("ticket_id", "entry"),
    CheckConstraint("delivered_on IS NULL OR came_back_on IS NULL", name="one_end"),
)

# The owner's express wish in writing; never what silence could be taken for.
wishes = Table(
    "wishes",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("gives_up", Boolean, nullable=False, info=APPROVAL),  # the device itself
    Column("data", String(20), nullable=False, info=APPROVAL),  # what is to become of what carries data
    Column("how", String(20), nullable=False, info=APPROVAL),  # how it was given
    Column("shown", Text, nullable=False, info=APPROVAL),  # the words that were agreed to, or where the paper lies
    Column("typed", String(20), nullable=False, server_default="", info=APPROVAL),
    Column("language", String(20), nullable=False, info=APPROVAL),
    Column("given_at", Instant, nullable=False, info=APPROVAL),
    Column("by_staff", Integer, ForeignKey("staff.id"), info=STAFF),  # who wrote it down
    Column("taken_back_at", Instant, info=APPROVAL),
    one_of("data", tuple(Data)),
    one_of("how", ("page", "letter", "mail", "signed here")),
    Index("ix_wishes_ticket_id", "ticket_id"),
)

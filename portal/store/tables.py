"""The portal's tables. Each column names its category of data in `info`, because retention is driven by it.

Ids are the database's own and never leave it; what leaves it is a random `ref` or a ticket's number, never reused.
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
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
)

from notifications.instants import Instant
from notifications.tables import metadata as notifications_metadata
from portal.rules.categories import Category
from portal.rules.stages import Ending, Hold


def holds(category: Category) -> dict[str, Category]:
    """The `info` of a column that holds this category of data."""
    return {"category": category}


CONTACT = holds(Category.CONTACT)
DEVICE = holds(Category.DEVICE)
RECORD = holds(Category.RECORD)
APPROVAL = holds(Category.APPROVAL)
MONEY = holds(Category.MONEY)
STAFF = holds(Category.STAFF)
TECHNICAL = holds(Category.TECHNICAL)
NONE = holds(Category.NONE)

metadata = MetaData(naming_convention=notifications_metadata.naming_convention)


def one_of(column: str, values: type[Hold] | type[Ending] | tuple[str, ...]) -> CheckConstraint:
    allowed = ", ".join(f"'{value}'" for value in values)
    return CheckConstraint(f"{column} IN ({allowed})", name=column)


def of_ticket() -> Column[int]:
    """The column by which a row hangs on its ticket, and goes with it."""
    return Column("ticket_id", Integer, ForeignKey("tickets.id", ondelete="CASCADE"), nullable=False, info=NONE)


policies = Table(
    "policies",
    metadata,
    Column("revision", Integer, primary_key=True, info=NONE),
    Column("document", Text, nullable=False, info=NONE),  # the policy as TOML, loadable again
    Column("made_at", Instant, nullable=False, info=NONE),
    Column("made_by", Integer, ForeignKey("staff.id", ondelete="SET NULL"), info=STAFF),
)

staff = Table(
    "staff",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("name", String(40), nullable=False, unique=True, info=STAFF),
    Column("role", String(10), nullable=False, info=STAFF),
    Column("password_hash", Text, nullable=False, info=STAFF),
    Column("email", String(254), nullable=False, server_default="", info=STAFF),  # where the shop's own news goes
    Column("pin_hash", Text, nullable=False, server_default="", info=STAFF),  # "" for none
    Column("second_factor", String(64), nullable=False, server_default="", info=STAFF),  # base32 secret, "" for none
    # The last time step whose code was used, so that no code counts twice (RFC 6238 section 5.2).
    Column("second_factor_step", Integer, nullable=False, server_default="0", info=TECHNICAL),
    Column("generation", Integer, nullable=False, server_default="1", info=TECHNICAL),  # raised to end all sessions
    Column("made_at", Instant, nullable=False, info=STAFF),
    Column("disabled_at", Instant, info=STAFF),
    one_of("role", ("bench", "keeper")),
)

# One row a device on which somebody logged in. Both generations must still be those of the staff rows, so raising one
# ends every login that person opened or took over by PIN.
logins = Table(
    "logins",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("key", String(64), nullable=False, unique=True, info=TECHNICAL),  # SHA-256 of what the cookie carries
    Column("staff_id", Integer, ForeignKey("staff.id"), nullable=False, info=STAFF),  # who works there now
    Column("generation", Integer, nullable=False, info=TECHNICAL),
    Column("opened_by", Integer, ForeignKey("staff.id"), nullable=False, info=STAFF),  # who logged in with a password
    Column("opened_generation", Integer, nullable=False, info=TECHNICAL),
    Column("opened_at", Instant, nullable=False, info=STAFF),
    Column("locked", Boolean, nullable=False, server_default=false(), info=TECHNICAL),
    Column("pin_tries", Integer, nullable=False, server_default="0", info=TECHNICAL),
    # The ticket that this device shows to a phone which is its camera, and since when; no key, so it holds nothing.
    Column("camera_number", String(13), info=STAFF),
    Column("camera_at", Instant, info=STAFF),
)

visits = Table(
    "visits",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    Column("docket_version", Integer, nullable=False, server_default="1", info=TECHNICAL),
    Column("language", String(20), nullable=False, info=CONTACT),
    Column("made_at", Instant, nullable=False, info=RECORD),
    # When the customer's page ends, once all its devices have left the shop; NULL while one is here.
    Column("link_ends_at", Instant, info=RECORD),
    # At its owner's wish the data is only stored (GDPR Art. 18); NULL while it may be used.
    Column("restricted_at", Instant, info=RECORD),
    # Grows with every change of any of its tickets or contacts; part of the customer page's validator.
    Column("revision", Integer, nullable=False, server_default="1", info=NONE),
)

contacts = Table(
    "contacts",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    Column("visit_id", Integer, ForeignKey("visits.id", ondelete="CASCADE"), nullable=False, info=NONE),
    Column("role", String(10), nullable=False, info=CONTACT),
    Column("name", String(120), nullable=False, server_default="", info=CONTACT),  # how to address them
    Column("email", String(254), nullable=False, server_default="", info=CONTACT),
    Column("phone", String(16), nullable=False, server_default="", info=CONTACT),  # E.164
    Column("phone_is_on_bench", Boolean, nullable=False, server_default=false(), info=CONTACT),
    Column("may_be_told", Boolean, nullable=False, info=CONTACT),
    Column("may_agree", Boolean, nullable=False, info=CONTACT),
    Column("may_collect", Boolean, nullable=False, info=CONTACT),
    Column("link_version", Integer, nullable=False, server_default="1", info=TECHNICAL),
    # What they chose on their page: channels in order (NULL: the shop's), and "all", "few" or "none" of the messages.
    Column("channels", JSON(none_as_null=True), info=CONTACT),
    Column("wants", String(10), nullable=False, server_default="all", info=CONTACT),
    Column("no_reminders", Boolean, nullable=False, server_default=false(), info=CONTACT),
    Column("has_push", Boolean, nullable=False, server_default=false(), info=NONE),  # a device of theirs shows notices
    UniqueConstraint("visit_id", "role"),
    one_of("role", ("owner", "second")),
)

# The terms as accepted: which text, by whom and how. What was accepted is found again by the policy's revision.
acceptances = Table(
    "acceptances",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("visit_id", Integer, ForeignKey("visits.id", ondelete="CASCADE"), nullable=False, info=NONE),
    Column("terms_version", String(40), nullable=False, info=APPROVAL),
    Column("policy_revision", Integer, ForeignKey("policies.revision"), nullable=False, info=APPROVAL),
    Column("language", String(20), nullable=False, info=APPROVAL),  # the one it was read in
    Column("how", String(10), nullable=False, info=APPROVAL),
    Column("by_kind", String(10), nullable=False, info=APPROVAL),
    Column("by_staff", Integer, ForeignKey("staff.id"), info=STAFF),  # who saw it being accepted
    Column("at", Instant, nullable=False, info=APPROVAL),
    Column("strokes", JSON(none_as_null=True), info=APPROVAL),  # of the signature: lists of [x, y], 0 to 1000
    UniqueConstraint("visit_id", "terms_version"),
    one_of("how", ("tick", "signature", "page")),
    one_of("by_kind", ("staff", "customer", "command")),
    CheckConstraint("(by_kind = 'staff') = (by_staff IS NOT NULL)", name="by_staff"),
    CheckConstraint("(how = 'signature') = (strokes IS NOT NULL)", name="strokes"),
)

# Every number ever given, so that none is given twice, even after its ticket is forgotten.
numbers = Table("numbers", metadata, Column("number", String(13), primary_key=True, info=NONE))

tickets = Table(
    "tickets",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    Column("number", String(13), ForeignKey("numbers.number"), nullable=False, unique=True, info=TECHNICAL),
    Column("visit_id", Integer, ForeignKey("visits.id"), nullable=False, info=NONE),
    Column("kind", String(40), nullable=False, info=RECORD),
    Column("device", String(120), nullable=False, info=DEVICE),
    Column("fault", Text, nullable=False, info=RECORD),
    Column("stage", String(40), info=RECORD),  # NULL while announced
    Column("stage_since", Instant, nullable=False, info=RECORD),
    Column("hold", String(10), info=RECORD),
    Column("hold_since", Instant, info=RECORD),
    Column("ending", String(30), info=RECORD),
    Column("ended_at", Instant, info=RECORD),
    Column("revision", Integer, nullable=False, info=NONE),  # the number of its journal's entries
    Column("made_at", Instant, nullable=False, info=RECORD),
    Column("place", String(40), nullable=False, server_default="", info=RECORD),  # on the shelf
    Column("needed_by", Date, info=RECORD),
    Column("promised_on", Date, info=RECORD),  # by when somebody of the shop said by hand that it will be ready
    Column("express", Boolean, nullable=False, server_default=false(), info=RECORD),
    Column("collect_on", Date, info=RECORD),  # the day on which the customer promised to come
    Column("delivered_on", Date, info=RECORD),  # the day on which the parcel to its owner arrived
    Column("claimed_at", Instant, info=RECORD),  # since when somebody else says that it is theirs
    Column("remind_at", Instant, info=RECORD),  # when its owner is next reminded; NULL unless it is ready
    Column("reminded", Integer, nullable=False, server_default="0", info=RECORD),  # reminders of the series so far
    Column("unread_since", Instant, info=RECORD),  # since when words of its customer wait to be read at the bench
    Column("counted_at", Instant, info=NONE),  # since when it is in the shop's figures; NULL until it has ended
    Column("notice_at", Instant, info=RECORD),  # since when a formal notice about it is posted and stands
    one_of("hold", Hold),
    one_of("ending", Ending),
    CheckConstraint("(hold IS NULL) = (hold_since IS NULL)", name="hold_since"),
    CheckConstraint("(ending IS NULL) = (ended_at IS NULL)", name="ended_at"),
    CheckConstraint("ending IS NULL OR hold IS NULL", name="no_hold_at_end"),
    Index("ix_tickets_visit_id", "visit_id"),  # the customer's page
)
_OPEN = tickets.c.ending.is_(None)
# Serves the bench list; ended tickets are not in it, so it stays as small as the shop.
Index("ix_tickets_open", tickets.c.stage, tickets.c.stage_since, sqlite_where=_OPEN, postgresql_where=_OPEN)

# Serves the reminders: what is due, whatever else is ready.
Index("ix_tickets_remind_at", tickets.c.remind_at, sqlite_where=_OPEN, postgresql_where=_OPEN)

# Serves the counting: what has ended and is in no figure yet.
_UNCOUNTED = tickets.c.ending.is_not(None) & tickets.c.counted_at.is_(None)
Index("ix_tickets_uncounted", tickets.c.ended_at, sqlite_where=_UNCOUNTED, postgresql_where=_UNCOUNTED)

# Serves the list of what customers wrote: what nobody has read yet.
_UNREAD = tickets.c.unread_since.is_not(None)
Index("ix_tickets_unread", tickets.c.unread_since, sqlite_where=_UNREAD, postgresql_where=_UNREAD)

# Append-only: triggers in the migration refuse changes of anything but `text`, which the purge may empty.
journal = Table(
    "journal",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ticket_id", Integer, ForeignKey("tickets.id"), nullable=False, info=NONE),
    Column("entry", Integer, nullable=False, info=NONE),  # 1, 2, 3 … within its ticket
    Column("at", Instant, nullable=False, info=RECORD),
    Column("by_kind", String(10), nullable=False, info=RECORD),
    Column("by_staff", Integer, ForeignKey("staff.id"), info=STAFF),
    Column("event", String(40), nullable=False, info=RECORD),
    Column("data", JSON, nullable=False, info=RECORD),  # what rebuilds the state; no personal data
    Column("audience", String(10), nullable=False, info=RECORD),  # for whom `text` was written
    Column("text", Text, nullable=False, server_default="", info=RECORD),
    Column("deed_key", String(32), unique=True, info=TECHNICAL),  # made by the form: a form posted twice has one effect
    UniqueConstraint("ticket_id", "entry"),
    Index("ix_journal_event_at", "event", "at"),  # what customers have said lately
    one_of("by_kind", ("staff", "customer", "clock", "command")),
    one_of("audience", ("bench", "customer")),
    CheckConstraint("(by_kind = 'staff') = (by_staff IS NOT NULL)", name="by_staff"),
)

# What open and ended tickets are found by. Sorted by code point on both databases, so that a prefix is a range.
search_words = Table(
    "search_words",
    metadata,
    Column(
        "word",
        String(40).with_variant(String(40, collation="C"), "postgresql"),
        primary_key=True,
        info=CONTACT,
    ),
    Column("ticket_id", Integer, ForeignKey("tickets.id", ondelete="CASCADE"), primary_key=True, info=NONE),
    Index("ix_search_words_ticket_id", "ticket_id"),  # forgetting
)

# Counts of tries by key (an HMAC, never an address in the clear), so that limits hold across processes and restarts.
throttles = Table(
    "throttles",
    metadata,
    Column("key", String(64), primary_key=True, info=TECHNICAL),
    Column("tries", Integer, nullable=False, info=TECHNICAL),
    Column("tried_at", Instant, nullable=False, info=TECHNICAL),  # the last that was counted
    Column("until", Instant, nullable=False, info=TECHNICAL),  # forgotten after this
)

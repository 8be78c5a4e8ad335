"""Requests about personal data with their clocks, the codes that prove who asks, and the record of breaches."""

from __future__ import annotations

from sqlalchemy import JSON, Column, Date, ForeignKey, Index, Integer, String, Table, Text, UniqueConstraint

from notifications.instants import Instant
from portal.rules.restriction import Ground, Use
from portal.rules.rights import Right, State, Through
from portal.store.tables import NONE, RECORD, STAFF, TECHNICAL, metadata, one_of

# A request outlives what it was about: the visit goes, the number stays, so that the answer can be shown (GDPR
# Art. 5(2)). The person's own words go with the visit's record.
requests = Table(
    "requests",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    Column("visit_id", Integer, ForeignKey("visits.id", ondelete="SET NULL"), info=NONE),
    Column("number", String(12), nullable=False, server_default="", info=RECORD),  # "" where no repair is known
    Column("kind", String(20), nullable=False, info=RECORD),
    Column("whose", String(10), nullable=False, server_default="owner", info=RECORD),  # the role of who asks
    Column("through", String(20), nullable=False, info=RECORD),
    Column("received_on", Date, nullable=False, info=RECORD),  # a day in the shop's zone, as the clock runs
    Column("state", String(10), nullable=False, info=RECORD),
    Column("words", Text, nullable=False, server_default="", info=RECORD),  # what the person asked
    Column("extended_on", Date, info=RECORD),
    Column("extended_why", Text, nullable=False, server_default="", info=RECORD),
    Column("paused_on", Date, info=RECORD),
    Column("paused_days", Integer, nullable=False, server_default="0", info=RECORD),
    Column("answer", Text, nullable=False, server_default="", info=RECORD),
    Column("settled_at", Instant, info=RECORD),
    Column("lift_on", Date, info=RECORD),  # of a restriction: the day on which it ends, as the person was told
    Column("lift_told", Text, nullable=False, server_default="", info=RECORD),  # how the keeper told them, if not we
    Column("lifted_at", Instant, info=RECORD),  # when it ended
    Column("reminded_at", Instant, info=RECORD),
    Column("made_at", Instant, nullable=False, info=RECORD),
    Column("entered_by", Integer, ForeignKey("staff.id"), info=STAFF),
    Column("deed_key", String(32), unique=True, info=TECHNICAL),  # of the form that wrote it last: twice counts once
    Column("revision", Integer, nullable=False, server_default="1", info=NONE),
    one_of("kind", tuple(Right)),
    one_of("through", tuple(Through)),
    one_of("state", tuple(State)),
    Index("ix_requests_visit_id", "visit_id"),
)
_OPEN = requests.c.state == State.OPEN.value
Index("ix_requests_open", requests.c.received_on, sqlite_where=_OPEN, postgresql_where=_OPEN)
Index("ix_requests_settled_at", requests.c.settled_at)

# While a restriction stands, data is only stored; what may be done with it all the same, and why (GDPR Art. 18(2)).
allowed_uses = Table(
    "allowed_uses",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("visit_id", Integer, ForeignKey("visits.id", ondelete="CASCADE"), nullable=False, info=NONE),
    Column("use", String(10), nullable=False, info=RECORD),
    Column("ground", String(10), nullable=False, info=RECORD),
    Column("why", Text, nullable=False, info=RECORD),
    Column("made_at", Instant, nullable=False, info=RECORD),
    Column("by_staff", Integer, ForeignKey("staff.id"), info=STAFF),
    one_of("use", tuple(Use)),
    one_of("ground", tuple(Ground)),
    UniqueConstraint("visit_id", "use"),
)

# Six-digit codes to the contact on file, for whoever asks on a visit's page; see `challenges` for those of questions.
visit_challenges = Table(
    "visit_challenges",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    Column("visit_id", Integer, ForeignKey("visits.id", ondelete="CASCADE"), nullable=False, info=NONE),
    Column("made_at", Instant, nullable=False, info=TECHNICAL),
    Column("tries", Integer, nullable=False, server_default="0", info=TECHNICAL),
    Column("used_at", Instant, info=TECHNICAL),
    Index("ix_visit_challenges_visit_id", "visit_id"),
)

# Every breach is written down (GDPR Art. 33(5)); whom it concerns by ticket numbers, never by name.
breaches = Table(
    "breaches",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    Column("aware_at", Instant, nullable=False, info=RECORD),  # the 72 hours begin
    Column("happened", Text, nullable=False, info=RECORD),
    Column("kinds", JSON, nullable=False, info=RECORD),  # names of the register
    Column("numbers", JSON, nullable=False, info=RECORD),  # ticket numbers; [] where it concerns every visit
    Column("counts", JSON, nullable=False, info=RECORD),  # as they were: visits, contacts, tickets, photos
    Column("consequences", Text, nullable=False, server_default="", info=RECORD),
    Column("measures", Text, nullable=False, server_default="", info=RECORD),
    Column("told_at", Instant, info=RECORD),  # when the authority was told
    Column("late_because", Text, nullable=False, server_default="", info=RECORD),
    Column("people_told_at", Instant, info=RECORD),
    Column("closed_at", Instant, info=RECORD),
    Column("made_at", Instant, nullable=False, info=RECORD),
    Column("by_staff", Integer, ForeignKey("staff.id"), info=STAFF),
    Column("deed_key", String(32), info=TECHNICAL),
)

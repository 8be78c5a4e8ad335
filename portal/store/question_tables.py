"""Questions about money, who was asked, the codes that proved somebody, and the proof of each answer."""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    Column,
    Date,
    ForeignKey,
    Index,
    Integer,
    String,
    Table,
    Text,
    UniqueConstraint,
    false,
)

from notifications.instants import Instant
from portal.rules.price_terms import Way
from portal.rules.questions import KIND_WORDS, State
from portal.store.tables import APPROVAL, NONE, RECORD, STAFF, TECHNICAL, metadata, of_ticket, one_of

questions = Table(
    "questions",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    of_ticket(),
    Column("kind", String(10), nullable=False, info=APPROVAL),
    Column("state", String(30), nullable=False, info=APPROVAL),
    Column("version", Integer, nullable=False, info=APPROVAL),
    Column("offer", JSON, nullable=False, info=APPROVAL),
    Column("answer_by", Instant, nullable=False, info=APPROVAL),
    Column("chosen", String(10), info=APPROVAL),
    Column("through", String(30), info=APPROVAL),  # how it was answered: which link, telephone, counter, limit
    Column("drafted_by", Integer, ForeignKey("staff.id"), info=STAFF),
    Column("made_at", Instant, nullable=False, info=APPROVAL),
    Column("put_at", Instant, info=APPROVAL),
    Column("settled_at", Instant, info=APPROVAL),
    Column("started_at", Instant, info=APPROVAL),  # when the work that was agreed to began
    Column("reminded_at", Instant, info=APPROVAL),
    Column("at_distance", Boolean, nullable=False, server_default=false(), info=APPROVAL),  # asked without meeting
    Column("cancel_until", Date, info=APPROVAL),  # the last day on which what was agreed can be cancelled, if it can be
    Column(
        "begin_early", Boolean, info=APPROVAL
    ),  # whether they asked to begin before that; NULL where nobody was asked
    Column("cancelled_on", Date, info=APPROVAL),  # the day on which it was cancelled
    Column("owed_percent", Integer, info=APPROVAL),  # how much of it is owed all the same, once it was cancelled
    Column("returned_with", Text, nullable=False, server_default="", info=RECORD),  # the keeper's note to the bench
    one_of("kind", tuple(KIND_WORDS)),
    one_of("state", tuple(State)),
    Index("ix_questions_ticket_id", "ticket_id"),
)
_PUT = questions.c.state == State.PUT.value
# Serves the clock: what waits for an answer, the soonest first.
Index("ix_questions_put", questions.c.answer_by, sqlite_where=_PUT, postgresql_where=_PUT)

# One row for each contact that a question was put to: their link is for it alone and proves that they were reached.
asked = Table(
    "asked",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    Column("question_id", Integer, ForeignKey("questions.id", ondelete="CASCADE"), nullable=False, info=NONE),
    Column("contact_id", Integer, ForeignKey("contacts.id", ondelete="CASCADE"), nullable=False, info=NONE),
    UniqueConstraint("question_id", "contact_id"),
    Index("ix_asked_contact_id", "contact_id"),  # by which a contact's rows go with it
)

# A six-digit code is made from the row's ref and the secret; only its tries are kept.
challenges = Table(
    "challenges",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    Column("ref", String(10), nullable=False, unique=True, info=TECHNICAL),
    Column("question_id", Integer, ForeignKey("questions.id", ondelete="CASCADE"), nullable=False, info=NONE),
    Column("made_at", Instant, nullable=False, info=TECHNICAL),
    Column("tries", Integer, nullable=False, server_default="0", info=TECHNICAL),
    Column("used_at", Instant, info=TECHNICAL),
    Index("ix_challenges_question_id", "question_id"),
)

# What was agreed about the price when the device came in, once a ticket; what changes it later is a question.
price_terms = Table(
    "price_terms",
    metadata,
    Column("ticket_id", Integer, ForeignKey("tickets.id", ondelete="CASCADE"), primary_key=True, info=NONE),
    Column("way", String(20), nullable=False, info=APPROVAL),
    Column("amount_minor", BigInteger, info=APPROVAL),
    Column("currency", String(3), nullable=False, info=APPROVAL),
    Column("through", String(30), nullable=False, info=APPROVAL),
    Column("agreed_at", Instant, nullable=False, info=APPROVAL),
    Column("cancel_until", Date, info=APPROVAL),  # as for questions
    Column("begin_early", Boolean, info=APPROVAL),
    Column("cancelled_on", Date, info=APPROVAL),
    one_of("way", tuple(Way)),
)

# Chained within a ticket; the document holds no contact data. Append-only: triggers refuse changes, and deleting while
# the shop has the device. No question: the terms that were agreed to when it came in.
proofs = Table(
    "proofs",
    metadata,
    Column("id", Integer, primary_key=True, info=NONE),
    of_ticket(),
    Column("question_id", Integer, ForeignKey("questions.id", ondelete="CASCADE"), info=NONE),
    Column("place", Integer, nullable=False, info=NONE),  # 1, 2, 3 … within its ticket
    Column("document", Text, nullable=False, info=APPROVAL),
    Column("previous", String(64), nullable=False, info=APPROVAL),
    Column("digest", String(64), nullable=False, info=APPROVAL),
    UniqueConstraint("ticket_id", "place"),
    Index("ix_proofs_question_id", "question_id"),
)

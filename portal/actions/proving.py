"""Proof of what was answered: the exact document that was shown, chained to the ticket's proof before it.

The document holds no contact data and no address of any kind, so it may be kept as long as the money it stands for.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from portal.rules.numbers import spoken
from portal.rules.offers import to_data
from portal.rules.price_terms import PriceTerms
from portal.rules.proof import prove
from portal.store import questions
from portal.store.questions import Kept
from portal.store.tickets import Ticket


def prove_answer(
    connection: Connection,
    ticket: Ticket,
    kept: Kept,
    answered: str,
    chosen: str | None,
    now: datetime,
    more: Mapping[str, object],
) -> None:
    """Keep the proof of an answer to `kept` as it was read before it was answered.

    `more` says how it was given: language, word, through, template, and what was told of cancelling.
    """
    option = kept.offer.option(chosen) if chosen else None
    amounts = kept.offer.total(option).amounts if option else None
    facts = {
        "number": spoken(ticket.number),
        "question": kept.ref,
        "kind": kept.kind,
        "version": kept.question.version,
        "offer": to_data(kept.offer),
        "answer": answered,
        "option": chosen,
        "total_minor": amounts.gross if amounts else None,
        "tax_minor": amounts.tax if amounts else None,
        "currency": kept.offer.terms.currency,
        "at": now.isoformat(),
    }
    _keep(connection, ticket, kept.id, facts | dict(more))


def prove_terms(
    connection: Connection, ticket: Ticket, agreed: PriceTerms, now: datetime, more: Mapping[str, object]
) -> None:
    """Keep the proof of what was agreed about the price when the device came in."""
    facts = {
        "number": spoken(ticket.number),
        "terms": agreed.way.value,
        "amount_minor": agreed.amount_minor,
        "currency": agreed.currency,
        "at": now.isoformat(),
    }
    _keep(connection, ticket, None, facts | dict(more))


def _keep(connection: Connection, ticket: Ticket, question_id: int | None, facts: Mapping[str, Any]) -> None:
    proof = prove(facts, questions.last_digest(connection, ticket.id))
    questions.keep_proof(connection, ticket.id, question_id, proof)

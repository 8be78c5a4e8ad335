"""Alembic's environment: one history for the portal's and the notifications' tables."""

from __future__ import annotations

from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy.schema import DefaultClause
from sqlalchemy.sql.elements import False_

from notifications.instants import Instant
from notifications.tables import metadata as notifications_metadata
from portal.store import (  # noqa: F401 (their tables are part of the metadata)
    balance_tables,
    bench_tables,
    call_tables,
    ending_tables,
    figures_tables,
    forecast_tables,
    handover_tables,
    house_tables,
    keeping_tables,
    money_tables,
    photo_tables,
    publication_tables,
    push_tables,
    question_tables,
    refund_tables,
    rights_tables,
    wording_tables,
)
from portal.store.tables import metadata


def _render(kind: str, item: Any, _context: AutogenContext) -> str | Literal[False]:
    """Spell what a drafted migration could not: our column of moments, and a false that both databases know."""
    if kind == "type" and isinstance(item, Instant):
        return "Instant()"
    if kind == "server_default" and isinstance(item, DefaultClause) and isinstance(item.arg, False_):
        return "sa.false()"
    return False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=[metadata, notifications_metadata],
    transactional_ddl=True,
    render_as_batch=True,
    render_item=_render,
)
context.run_migrations()

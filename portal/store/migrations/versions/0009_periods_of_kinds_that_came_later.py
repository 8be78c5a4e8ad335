"""Kinds of data that came later begin their periods for visits that ended before, with the end of their last ticket.

Revision ID: 0009
Revises: 0008
"""

from __future__ import annotations

from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

# Of whom nothing is kept any more, nothing begins.
_BEGIN = """
    INSERT INTO keeping (visit_id, kept, since)
    SELECT tickets.visit_id, kinds.kept, MAX(tickets.ended_at)
    FROM tickets
    CROSS JOIN (SELECT 'publication' AS kept UNION ALL SELECT 'push') AS kinds
    WHERE EXISTS (SELECT 1 FROM keeping AS known WHERE known.visit_id = tickets.visit_id)
      AND NOT EXISTS (
          SELECT 1 FROM keeping AS known WHERE known.visit_id = tickets.visit_id AND known.kept = kinds.kept
      )
    GROUP BY tickets.visit_id, kinds.kept
"""


def upgrade() -> None:
    op.execute(_BEGIN)

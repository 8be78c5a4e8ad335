"""Periods of visits that ended before there was a purge: they begin as if there had always been one.

Revision ID: 0004
Revises: 0003
"""

from __future__ import annotations

from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

_BEGIN = """
    INSERT INTO keeping (visit_id, kept, since)
    SELECT visits.id, kinds.kept,
           CASE kinds.start WHEN 'warranty' THEN visits.link_ends_at ELSE MAX(tickets.ended_at) END
    FROM visits
    JOIN tickets ON tickets.visit_id = visits.id
    CROSS JOIN (
        SELECT 'contact' AS kept, 'warranty' AS start UNION ALL SELECT 'device', 'warranty'
        UNION ALL SELECT 'record', 'warranty' UNION ALL SELECT 'photo', 'warranty'
        UNION ALL SELECT 'post_address', 'left' UNION ALL SELECT 'approval', 'left' UNION ALL SELECT 'money', 'left'
    ) AS kinds
    WHERE visits.link_ends_at IS NOT NULL
    GROUP BY visits.id, visits.link_ends_at, kinds.kept, kinds.start
"""


def upgrade() -> None:
    op.execute(_BEGIN)

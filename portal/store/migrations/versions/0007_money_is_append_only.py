"""Money is append-only: the database itself refuses to change a row, and to delete one while the shop has the device.

Revision ID: 0007
Revises: 0006
"""

from __future__ import annotations

from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

_TABLES = ("payments", "adjustments", "statements")
_SAYS = "what was written down of money is never changed"


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for table in _TABLES:
            _sqlite(table)
    else:
        _postgresql()


def _sqlite(table: str) -> None:
    op.execute(
        f"""
        CREATE TRIGGER {table}_are_not_rewritten BEFORE UPDATE ON {table}
        BEGIN
            SELECT RAISE(ABORT, '{_SAYS}');
        END
        """
    )
    op.execute(
        f"""
        CREATE TRIGGER {table}_are_kept BEFORE DELETE ON {table}
        WHEN EXISTS (SELECT 1 FROM tickets WHERE id = OLD.ticket_id AND ending IS NULL)
        BEGIN
            SELECT RAISE(ABORT, '{_SAYS}');
        END
        """
    )


def _postgresql() -> None:
    op.execute(
        f"""
        CREATE FUNCTION money_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            IF TG_OP = 'DELETE'
               AND NOT EXISTS (SELECT 1 FROM tickets WHERE id = OLD.ticket_id AND ending IS NULL) THEN
                RETURN OLD;
            END IF;
            RAISE EXCEPTION '{_SAYS}' USING ERRCODE = 'integrity_constraint_violation';
        END $$
        """
    )
    for table in _TABLES:
        op.execute(
            f"""
            CREATE TRIGGER {table}_are_append_only BEFORE UPDATE OR DELETE ON {table}
            FOR EACH ROW EXECUTE FUNCTION money_refuse()
            """
        )

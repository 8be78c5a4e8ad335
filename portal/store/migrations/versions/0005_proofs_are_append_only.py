"""Proofs are append-only: the database itself refuses to change one, and to delete one while the shop has the device.

Revision ID: 0005
Revises: 0004
"""

from __future__ import annotations

from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

_SAYS = "a proof is never changed"


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        _sqlite()
    else:
        _postgresql()


def _sqlite() -> None:
    op.execute(
        f"""
        CREATE TRIGGER proofs_are_not_rewritten BEFORE UPDATE ON proofs
        BEGIN
            SELECT RAISE(ABORT, '{_SAYS}');
        END
        """
    )
    op.execute(
        f"""
        CREATE TRIGGER proofs_are_kept BEFORE DELETE ON proofs
        WHEN EXISTS (SELECT 1 FROM tickets WHERE id = OLD.ticket_id AND ending IS NULL)
        BEGIN
            SELECT RAISE(ABORT, '{_SAYS}');
        END
        """
    )


def _postgresql() -> None:
    op.execute(
        f"""
        CREATE FUNCTION proofs_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            IF TG_OP = 'DELETE'
               AND NOT EXISTS (SELECT 1 FROM tickets WHERE id = OLD.ticket_id AND ending IS NULL) THEN
                RETURN OLD;
            END IF;
            RAISE EXCEPTION '{_SAYS}' USING ERRCODE = 'integrity_constraint_violation';
        END $$
        """
    )
    op.execute(
        """
        CREATE TRIGGER proofs_are_append_only BEFORE UPDATE OR DELETE ON proofs
        FOR EACH ROW EXECUTE FUNCTION proofs_refuse()
        """
    )

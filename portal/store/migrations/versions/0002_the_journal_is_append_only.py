"""The journal is append-only: the database itself refuses changes of anything but `text`, which the purge may empty,
and refuses to delete entries of a ticket that the shop still has."""

from __future__ import annotations

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

_FIXED = ("id", "ticket_id", "entry", "at", "by_kind", "by_staff", "event", "data", "audience")
_SAYS = "the journal is append-only"


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        _sqlite()
    else:
        _postgresql()


def _sqlite() -> None:
    op.execute(
        f"""
        CREATE TRIGGER journal_is_not_rewritten BEFORE UPDATE OF {", ".join(_FIXED)} ON journal
        BEGIN
            SELECT RAISE(ABORT, '{_SAYS}');
        END
        """
    )
    op.execute(
        """
        CREATE TRIGGER journal_text_is_only_emptied BEFORE UPDATE OF text ON journal
        WHEN NEW.text <> ''
        BEGIN
            SELECT RAISE(ABORT, 'a journal text may only be emptied');
        END
        """
    )
    op.execute(
        f"""
        CREATE TRIGGER journal_is_kept BEFORE DELETE ON journal
        WHEN (SELECT ending FROM tickets WHERE id = OLD.ticket_id) IS NULL
        BEGIN
            SELECT RAISE(ABORT, '{_SAYS}');
        END
        """
    )


def _postgresql() -> None:
    changed = " OR ".join(f"NEW.{column}::text IS DISTINCT FROM OLD.{column}::text" for column in _FIXED)
    op.execute(
        f"""
        CREATE FUNCTION journal_refuses() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            IF TG_OP = 'DELETE' THEN
                IF (SELECT ending FROM tickets WHERE id = OLD.ticket_id) IS NULL THEN
                    RAISE EXCEPTION '{_SAYS}' USING ERRCODE = 'integrity_constraint_violation';
                END IF;
                RETURN OLD;
            END IF;
            IF {changed} THEN
                RAISE EXCEPTION '{_SAYS}' USING ERRCODE = 'integrity_constraint_violation';
            END IF;
            IF NEW.text <> '' AND NEW.text IS DISTINCT FROM OLD.text THEN
                RAISE EXCEPTION 'a journal text may only be emptied' USING ERRCODE = 'integrity_constraint_violation';
            END IF;
            RETURN NEW;
        END $$
        """
    )
    op.execute(
        """
        CREATE TRIGGER journal_is_append_only BEFORE UPDATE OR DELETE ON journal
        FOR EACH ROW EXECUTE FUNCTION journal_refuses()
        """
    )

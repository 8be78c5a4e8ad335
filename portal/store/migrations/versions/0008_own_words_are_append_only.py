"""Own words are append-only: it must stay known in which words something went out. Only who wrote them may be forgotten.

Revision ID: 0008
Revises: 0007
"""

from __future__ import annotations

from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

_WORDS = "id, event, occasion, language, revision, subject, text, sms, push, say, made_at"
_SAYS = "words that were written down are never changed"


def upgrade() -> None:
    if op.get_bind().dialect.name == "sqlite":
        _sqlite()
    else:
        _postgresql()


def _sqlite() -> None:
    for name, when in (("are_not_rewritten", f"UPDATE OF {_WORDS}"), ("are_kept", "DELETE")):
        op.execute(
            f"""
            CREATE TRIGGER wordings_{name} BEFORE {when} ON wordings
            BEGIN
                SELECT RAISE(ABORT, '{_SAYS}');
            END
            """
        )


def _postgresql() -> None:
    op.execute(
        f"""
        CREATE FUNCTION wordings_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
            RAISE EXCEPTION '{_SAYS}' USING ERRCODE = 'integrity_constraint_violation';
        END $$
        """
    )
    op.execute(
        f"""
        CREATE TRIGGER wordings_are_append_only BEFORE UPDATE OF {_WORDS} OR DELETE ON wordings
        FOR EACH ROW EXECUTE FUNCTION wordings_refuse()
        """
    )

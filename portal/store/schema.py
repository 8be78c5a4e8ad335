"""Bringing a database to the present schema, by the one Alembic history of both packages."""

from __future__ import annotations

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine

from portal.store.engine import writing

_LOCK = 20260302  # any number, the same in every process
_FOLDER = Path(__file__).parent / "migrations"


def upgrade(engine: Engine) -> None:
    """Run what is pending, all in one transaction; nothing is written when nothing is."""
    if pending(engine):
        with writing(engine) as connection:
            if engine.dialect.name == "postgresql":  # of two processes that start at once, the second waits
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
            command.upgrade(config(connection), "head")


def pending(engine: Engine) -> bool:
    """Whether the database is behind this program."""
    with engine.connect() as connection, connection.begin():
        current = MigrationContext.configure(connection).get_current_revision()
    return current != ScriptDirectory.from_config(config()).get_current_head()


def outstanding(engine: Engine) -> list[str]:
    """The changes of the schema that this program would make to the database, in order, by number and purpose."""
    with engine.connect() as connection, connection.begin():
        current = MigrationContext.configure(connection).get_current_revision()
    steps = ScriptDirectory.from_config(config()).iterate_revisions("head", current or "base")
    return [f"{step.revision} ({_first_line(step.doc)})" for step in reversed([*steps])]


def config(connection: Connection | None = None) -> Config:
    """Alembic's configuration, for this connection."""
    settings = Config()
    settings.set_main_option("script_location", str(_FOLDER))
    settings.set_main_option("path_separator", "os")
    settings.attributes["connection"] = connection
    return settings


def _first_line(text: str | None) -> str:
    return (text or "").partition("\n")[0].rstrip(".")

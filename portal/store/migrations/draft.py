"""Drafts a migration from the difference between the tables and the history: `python -m portal.store.migrations.draft NAME`.

Read the draft before you commit it; an applied migration is never edited.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from alembic import command
from alembic.script import ScriptDirectory

from portal.store import schema
from portal.store.engine import open_engine, sqlite_url, writing


def draft(name: str) -> Path:
    """Write the draft beside the others and tell where."""
    with tempfile.TemporaryDirectory() as folder:
        engine = open_engine(sqlite_url(Path(folder) / "draft.db"))
        history = ScriptDirectory.from_config(schema.config())
        if history.get_current_head():
            schema.upgrade(engine)
        number = f"{len(list(history.walk_revisions())) + 1:04}"
        with writing(engine) as connection:
            made = command.revision(schema.config(connection), name, autogenerate=True, rev_id=number)
        engine.dispose()
    file = Path(made.path)  # type: ignore[union-attr]
    subprocess.run([sys.executable, "-m", "ruff", "format", "-q", str(file)], check=True)  # noqa: S603 (our own file)
    return file


if __name__ == "__main__":
    sys.stdout.write(f"{draft(sys.argv[1])}\n")

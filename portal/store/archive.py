"""The whole shop as one SQLite file with its photos, written from either database while the site runs, and read back.

Written in one consistent view, into a file that appears whole or not at all. It can be looked at with anything that
reads SQLite: its tables are strict, what tickets and journal say can be searched. Links are not in it: they are made
from the secret, which lies elsewhere.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from alembic import command
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Connection,
    Engine,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    insert,
    select,
    text,
)
from sqlite_utils import Database

from notifications.tables import metadata as notifications_metadata
from portal.store import schema
from portal.store.engine import writing
from portal.store.photo_files import SIZES, PhotoFiles
from portal.store.tables import metadata

FORMAT = 1
_HEAD, _PHOTOS = "archive", "photo_files"
_SEARCHED = {"tickets": ["device", "fault"], "journal": ["text"]}
_TRIGGER_FUNCTIONS = text(
    "SELECT proname FROM pg_proc "
    "WHERE prorettype = 'trigger'::regtype AND pronamespace = current_schema()::regnamespace"
)
_ROWS = 1_000  # read and written at a time


class NotAnArchive(ValueError):
    """The file cannot be restored; `args[0]` says why, for people."""


@dataclass(frozen=True)
class Head:
    """What an archive says of itself."""

    made_at: datetime
    revision: str  # of the tables
    rows: int
    photos: int


def write(engine: Engine, photo_files: PhotoFiles, file: Path, now: datetime) -> Head:
    """Write the archive; it replaces `file` once it is whole. Raises OSError where there is no room."""
    part = file.with_name(f".{file.name}.part")
    part.unlink(missing_ok=True)
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)  # it holds every customer's name
    os.close(descriptor)
    try:
        with closing(sqlite3.connect(part)) as plain:
            plain.execute("PRAGMA journal_mode = OFF")
            plain.execute("PRAGMA synchronous = OFF")
            head = _fill(Database(plain), engine, photo_files, now)
            plain.commit()
        with part.open("rb") as written:
            os.fsync(written.fileno())
        part.replace(file)
    except sqlite3.OperationalError as fault:
        raise OSError(f"The archive cannot be written: {fault}.") from None
    finally:
        part.unlink(missing_ok=True)
    return head


def read_head(file: Path) -> Head:
    """Look an archive over without changing anything. Raises NotAnArchive for a foreign, damaged or unfinished one."""
    if not file.exists():
        raise NotAnArchive(f"{file} is not there.")
    try:
        with closing(_open(file)) as plain:
            broken = plain.execute("PRAGMA integrity_check").fetchone()[0]
            tables = {name for (name,) in plain.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            if broken != "ok" or _HEAD not in tables:
                raise NotAnArchive(_NO_BACKUP.format(file=file) if _HEAD not in tables else _DAMAGED.format(file=file))
            form, made_at, revision, rows, photos = plain.execute(
                f'SELECT format, made_at, revision, "rows", photos FROM {_HEAD}'
            ).fetchone()
            if form != FORMAT:
                raise NotAnArchive(f"{file} is an archive of form {form}; this program reads form {FORMAT}.")
            counted = sum(plain.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in tables & _names())
            if counted != rows or plain.execute(f"SELECT count(*) FROM {_PHOTOS}").fetchone()[0] != photos:
                raise NotAnArchive(_DAMAGED.format(file=file))
    except (sqlite3.DatabaseError, TypeError) as fault:
        raise NotAnArchive(f"{file} cannot be read as an archive ({fault}). Nothing was restored.") from None
    known = {each.revision for each in ScriptDirectory.from_config(schema.config()).walk_revisions()}
    if revision not in known:
        raise NotAnArchive(f"{file} was made by a newer program. Update this one first.")
    return Head(datetime.fromisoformat(made_at), revision, rows, photos)


def restore(
    file: Path, engine: Engine, photo_files: PhotoFiles, also: Callable[[Connection, Head], None] | None = None
) -> Head:
    """Bring an archive into an empty database: all of it, with what `also` does, or nothing.

    Raises NotAnArchive for what `read_head` refuses and for a database that holds something.
    """
    head = read_head(file)
    with writing(engine) as connection:
        if MigrationContext.configure(connection).get_current_revision() is not None and _holds_something(connection):
            raise NotAnArchive("This installation holds something already. Restore into an empty one.")
        _make_empty(connection)
        command.upgrade(schema.config(connection), head.revision)
        with closing(_open(file)) as plain:
            _copy_back(plain, connection)
            for ref, size, content in plain.execute(f"SELECT ref, size, content FROM {_PHOTOS}"):
                photo_files.write(ref, size, content)
        command.upgrade(schema.config(connection), "head")
        if also:
            also(connection, head)
    return head


def _fill(archive: Database, engine: Engine, photo_files: PhotoFiles, now: datetime) -> Head:
    level = "SERIALIZABLE" if engine.dialect.name == "sqlite" else "REPEATABLE READ"
    rows = 0
    with engine.connect().execution_options(isolation_level=level) as connection, connection.begin():
        revision = MigrationContext.configure(connection).get_current_revision() or ""
        for table in _tables():
            archive.table(table.name).create(
                {column.name: _plain_type(column) for column in table.columns},
                pk=[column.name for column in table.primary_key] if len(table.primary_key) > 1 else _key(table),
                strict=True,
            )
            rows += _copy(connection, table, archive)
        archive.table(_PHOTOS).create({"ref": str, "size": str, "content": bytes}, pk=("ref", "size"), strict=True)
        photos = sum(_copy_photo(ref, archive, photo_files) for ref in _photo_refs(archive))
    for name, columns in _SEARCHED.items():
        archive.table(name).enable_fts(columns)
    archive.table(_HEAD).insert(
        {
            "id": 1,
            "format": FORMAT,
            "made_at": now.isoformat(),
            "revision": revision,
            "rows": rows,
            "photos": photos,
        },
        pk="id",
        strict=True,
    )
    return Head(now, revision, rows, photos)


def _copy(connection: Connection, table: Table, archive: Database) -> int:
    found = connection.execution_options(stream_results=True).execute(select(table))
    count = 0
    for some in found.mappings().partitions(_ROWS):
        archive.table(table.name).insert_all(
            [{column.name: _plain(column, row[column.name]) for column in table.columns} for row in some]
        )
        count += len(some)
    return count


def _photo_refs(archive: Database) -> list[str]:
    aligned = [row["aligned_ref"] for row in archive["photo_pairs"].rows if row["aligned_ref"]]
    return [row["ref"] for row in archive["photos"].rows] + aligned


def _copy_photo(ref: str, archive: Database, photo_files: PhotoFiles) -> int:
    contents = [(size, photo_files.read(ref, size)) for size in SIZES]
    found = [{"ref": ref, "size": size, "content": content} for size, content in contents if content is not None]
    archive.table(_PHOTOS).insert_all(found)  # one that was withdrawn meanwhile is not in it
    return len(found)


def _copy_back(plain: sqlite3.Connection, connection: Connection) -> None:
    """Row by row into the tables as they were in the archive's revision."""
    there = MetaData()
    there.reflect(connection)
    kept = {name for (name,) in plain.execute("SELECT name FROM sqlite_master WHERE type = 'table'")} & _names(there)
    for table in there.sorted_tables:
        if table.name not in kept:
            continue
        connection.execute(table.delete())  # what a migration wrote by itself
        columns = [column for column in table.columns if column.name in _columns(plain, table.name)]
        names = ", ".join(f'"{column.name}"' for column in columns)
        for some in _pieces(plain.execute(f'SELECT {names} FROM "{table.name}"')):
            connection.execute(
                insert(table),
                [
                    {column.name: _typed(column, cell) for column, cell in zip(columns, row, strict=True)}
                    for row in some
                ],
            )
        _go_on_counting(connection, table)


def _go_on_counting(connection: Connection, table: Table) -> None:
    """PostgreSQL: the next number of a key comes after those that were brought along."""
    key = _key(table)
    if connection.dialect.name == "postgresql" and key and isinstance(table.c[key].type, Integer):
        connection.execute(
            text(
                f"SELECT setval(pg_get_serial_sequence('{table.name}', '{key}'), "
                f"(SELECT max({key}) FROM {table.name})) "
                f"WHERE pg_get_serial_sequence('{table.name}', '{key}') IS NOT NULL "
                f"AND EXISTS (SELECT 1 FROM {table.name})"
            )
        )


def _holds_something(connection: Connection) -> bool:
    there = MetaData()
    there.reflect(connection)
    return any(
        connection.execute(select(table).limit(1)).first() is not None
        for table in there.sorted_tables
        if table.name not in ("alembic_version", "heartbeats")
    )


def _make_empty(connection: Connection) -> None:
    there = MetaData()
    there.reflect(connection)
    there.drop_all(connection)
    if connection.dialect.name == "postgresql":  # triggers went with their tables, what they call did not
        for name in connection.execute(_TRIGGER_FUNCTIONS).scalars().all():
            connection.execute(text(f'DROP FUNCTION "{name}"()'))


def _open(file: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"file:{file}?mode=ro", uri=True)


def _columns(plain: sqlite3.Connection, name: str) -> set[str]:
    return {row[1] for row in plain.execute(f'PRAGMA table_info("{name}")')}


def _pieces(rows: sqlite3.Cursor) -> Iterator[list[tuple[Any, ...]]]:
    while some := rows.fetchmany(_ROWS):
        yield some


def _tables() -> list[Table]:
    return [*metadata.sorted_tables, *notifications_metadata.sorted_tables]


def _names(there: MetaData | None = None) -> set[str]:
    return set(there.tables) if there else {table.name for table in _tables()}


def _key(table: Table) -> str | None:
    names = [column.name for column in table.primary_key]
    return names[0] if len(names) == 1 else None


def _plain_type(column: Column[Any]) -> type:
    if isinstance(column.type, (Integer, Boolean)):
        return int
    return bytes if isinstance(column.type, LargeBinary) else str


def _plain(column: Column[Any], value: Any) -> Any:
    """A cell as a strict table takes it."""
    if value is None or isinstance(value, bytes):
        return value
    if isinstance(column.type, JSON):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, datetime):
        return value.isoformat(timespec="microseconds")  # as SQLite's own rows have it
    if isinstance(value, date):
        return value.isoformat()
    return int(value) if isinstance(value, bool) else value


def _typed(column: Column[Any], cell: Any) -> Any:
    """A cell as the reflected column takes it."""
    if cell is None:
        return None
    kind = column.type
    if isinstance(kind, Boolean):
        return bool(cell)
    if isinstance(kind, JSON):
        return json.loads(cell)
    return kind.python_type.fromisoformat(cell) if kind.python_type in (datetime, date) else cell


_NO_BACKUP = (
    "{file} is no archive: a plain copy of a database file may lack its newest changes. "
    "Make one with `benchwindow archive`. Nothing was restored."
)
_DAMAGED = "{file} is damaged or was not finished. Nothing was restored."

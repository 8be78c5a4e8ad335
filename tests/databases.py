"""The two databases that the suite runs on: a SQLite file, and a real PostgreSQL that the suite starts itself."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

from sqlalchemy import create_engine, inspect, text

from portal.store import schema
from portal.store.engine import open_engine, sqlite_url

_PROGRAMS = Path("/usr/lib/postgresql")
_PREFIX = "bench-pg-"
_OWNER = "postgres"  # PostgreSQL refuses to run as root
_END_OTHERS = """
    SELECT pg_terminate_backend(pid) FROM pg_stat_activity
    WHERE datname = current_database() AND pid <> pg_backend_pid()
"""
_RESTART_IDS = "SELECT setval(oid, 1, false) FROM pg_class WHERE relkind = 'S'"


class NoPostgres(RuntimeError):
    """This machine has no PostgreSQL that the suite could start."""


@dataclass
class Postgres:
    """A PostgreSQL of the suite's own: on a socket in a folder of its own, so that no two suites meet on a port."""

    folder: Path
    programs: Path
    _names: count[int] = field(default_factory=count)

    def url(self, database: str) -> str:
        """The URL of one of its databases."""
        return f"postgresql://{_OWNER}@/{database}?host={self.folder}"

    def new_database(self) -> str:
        """Make a database without tables and tell its name."""
        name = f"bench_{next(self._names)}"
        self._manage(f"CREATE DATABASE {name} TEMPLATE template0")
        return name

    def drop(self, database: str) -> None:
        """Remove a database, whoever still holds on to it."""
        self._manage(f"DROP DATABASE {database} WITH (FORCE)")

    def empty(self, database: str) -> None:
        """Take every row out of a database, as if it were new: two hundred times faster than to make a new one."""
        engine = open_engine(self.url(database))
        with engine.begin() as connection:
            connection.exec_driver_sql(_END_OTHERS)
            names = [name for name in inspect(connection).get_table_names() if name != "alembic_version"]
            deletes = "".join(f"DELETE FROM {name};" for name in names)
            connection.exec_driver_sql(f"SET LOCAL session_replication_role = replica; {deletes}")  # no triggers
            connection.exec_driver_sql(_RESTART_IDS)
        engine.dispose()

    def stop(self) -> None:
        """Stop the server and remove its folder."""
        _run([str(self.programs / "pg_ctl"), "-D", str(self.folder / "data"), "-m", "immediate", "stop"])
        shutil.rmtree(self.folder)

    def _manage(self, statement: str) -> None:
        url = self.url("postgres").replace("postgresql:", "postgresql+psycopg:")
        engine = create_engine(url, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.execute(text(statement))
        engine.dispose()


def start_postgres() -> Postgres:
    """Start a server that forgets to be careful: its data need not outlive the suite. Raises NoPostgres."""
    programs = _newest_programs()
    _stop_orphans(programs)
    folder = Path(tempfile.mkdtemp(prefix=_PREFIX))
    (folder / "owner").write_text(str(os.getpid()))
    if os.geteuid() == 0:
        shutil.chown(folder, _OWNER)
    data = folder / "data"
    _run([str(programs / "initdb"), "-D", str(data), "-U", _OWNER, "-A", "trust", "-E", "UTF8", "--no-sync"])
    careless = f"-c listen_addresses= -c unix_socket_directories={folder} -c fsync=off -c synchronous_commit=off"
    small = "-c full_page_writes=off -c shared_buffers=32MB -c max_connections=60"
    options = ["-D", str(data), "-l", str(folder / "log"), "-o", f"{careless} {small}", "-w"]
    _run([str(programs / "pg_ctl"), *options, "start"])
    return Postgres(folder, programs)


def make_sqlite_template(file: Path) -> None:
    """Migrate a new SQLite file, and close it so that it can be copied."""
    _migrate(sqlite_url(file))


def make_postgres_database(server: Postgres) -> str:
    """Make and migrate a new database, and tell its name."""
    name = server.new_database()
    _migrate(server.url(name))
    return name


def _migrate(url: str) -> None:
    engine = open_engine(url)
    schema.upgrade(engine)
    engine.dispose()


def _stop_orphans(programs: Path) -> None:
    """Stop the servers of suites that were killed before they could."""
    for owner in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*/owner"):
        with suppress(RuntimeError, FileNotFoundError):  # another worker was faster
            if not _lives(int(owner.read_text() or os.getpid())):
                Postgres(owner.parent, programs).stop()


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:  # somebody else's, so it is there
        pass
    return True


def _newest_programs() -> Path:
    found = sorted(_PROGRAMS.glob("*/bin/initdb"), key=lambda file: int(file.parent.parent.name))
    if not found:
        raise NoPostgres(f"there is no PostgreSQL in {_PROGRAMS} (Debian: apt-get install postgresql)")
    if os.geteuid() == 0 and not shutil.which("runuser"):
        raise NoPostgres("PostgreSQL does not run as root, and there is no runuser to become another")
    return found[-1].parent


def _run(command: list[str]) -> None:
    if os.geteuid() == 0:
        command = ["runuser", "-u", _OWNER, "--", *command]
    with tempfile.TemporaryFile() as said:  # not a pipe: the server would inherit it and keep it open
        answer = subprocess.run(command, stdin=subprocess.DEVNULL, stdout=said, stderr=said, cwd="/", check=False)
        if answer.returncode:
            said.seek(0)
            raise RuntimeError(f"{command} failed: {said.read().decode(errors='replace')}")

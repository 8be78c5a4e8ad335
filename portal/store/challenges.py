"""Six-digit codes that prove somebody: a row each, of which only the tries are kept. The digits are stored nowhere."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, Table, bindparam, func, insert, select, update


@dataclass(frozen=True)
class Challenge:
    """A code that was sent."""

    id: int
    ref: str
    made_at: datetime
    tries: int
    used_at: datetime | None


class Challenges:
    """The codes of one table, each for a row of another: `owner` is the column that points there."""

    def __init__(self, table: Table, owner: str) -> None:
        of, columns = table.c[owner] == bindparam("of"), table.c
        self._add, self._owner = insert(table), owner
        self._newest = (
            select(columns.id, columns.ref, columns.made_at, columns.tries, columns.used_at)
            .where(of)
            .order_by(columns.id.desc())
            .limit(1)
        )
        self._since = select(func.count()).where(of, columns.made_at > bindparam("since"))
        fresh = update(table).where(
            columns.id == bindparam("challenge_id"), columns.tries < bindparam("most"), columns.used_at.is_(None)
        )
        self._count = fresh.values(tries=columns.tries + 1)
        self._use = fresh.values(used_at=bindparam("now"))

    def newest(self, connection: Connection, of: int) -> Challenge | None:
        """The newest code for this row, or None."""
        row = connection.execute(self._newest, {"of": of}).first()
        return Challenge(*row) if row else None

    def add(self, connection: Connection, of: int, ref: str, now: datetime) -> None:
        """Write down that a code is sent."""
        connection.execute(self._add, {"ref": ref, self._owner: of, "made_at": now})

    def since(self, connection: Connection, of: int, moment: datetime) -> int:
        """How many codes were asked for since a moment."""
        return connection.execute(self._since, {"of": of, "since": moment}).scalar_one()

    def count_try(self, connection: Connection, challenge_id: int, most: int) -> bool:
        """Count a try. False where there were too many, or the code was used."""
        return connection.execute(self._count, {"challenge_id": challenge_id, "most": most}).rowcount == 1

    def use(self, connection: Connection, challenge_id: int, now: datetime, most: int) -> bool:
        """Use a code up. False where it was used, or tried too often."""
        values = {"challenge_id": challenge_id, "most": most + 1, "now": now}
        return connection.execute(self._use, values).rowcount == 1

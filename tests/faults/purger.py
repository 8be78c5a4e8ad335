"""Purges, and is killed over it or has no room: `python -m tests.faults.purger DATA HOW`. Only tests run it.

HOW is `dies:N`, by a signal that nothing catches, before the Nth statement that writes; or `full:BYTES` for the largest
file that the system lets it write.
"""

from __future__ import annotations

import os
import resource
import signal
import sys
from datetime import datetime
from itertools import count
from pathlib import Path

from sqlalchemy import event

from notifications.instants import FixedClock
from portal.actions import retention
from portal.main import open_installation


def main(data: str, how: str) -> int:
    """Purge as of the moment in the environment's LATER. 0 when all that was due is gone."""
    house = open_installation(Path(data), clock=FixedClock(datetime.fromisoformat(os.environ["LATER"])))
    kind, _, number = how.partition(":")
    if kind == "dies":
        numbers = count(1)

        def before(_connection, _cursor, statement: str, *_rest) -> None:  # type: ignore[no-untyped-def]
            if not statement.startswith("SELECT") and next(numbers) == int(number):
                os.kill(os.getpid(), signal.SIGKILL)

        event.listen(house.engine, "before_cursor_execute", before)
    else:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # a write beyond the limit fails instead (setrlimit(2))
        most = int(number)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, resource.getrlimit(resource.RLIMIT_FSIZE)[1]))
    retention.apply(house.desk, house.photo_files, house.desk.clock.now(), most=2**31)
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))

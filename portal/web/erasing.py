"""What follows an erasure on request: no archive of ours and no log of the database holds a copy any more."""

from __future__ import annotations

from portal.actions import archives
from portal.store.engine import empty_the_log
from portal.web.request_context import installation, refresh


def leave_no_copy() -> None:
    """Drop the nightly archives and empty the database's log; while somebody reads, the clock does that soon."""
    archives.drop_all(installation().settings.archives)
    refresh()  # our own view would keep the log
    empty_the_log(installation().engine)

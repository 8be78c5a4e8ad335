"""What the running site logs: our own news, and of other libraries only what is wrong."""

from __future__ import annotations

import subprocess
import sys

SCRIPT = """
import logging
from portal import logs
logs.to_stderr()
logging.getLogger("notifications.sweeps").info("Sweep %s: done %s.", "send", 3)
logging.getLogger("urllib3").info("POST /send/447700900123")
logging.getLogger("urllib3").warning("Trouble")
logging.getLogger("portal.serving").debug("Small talk")
"""


def test_our_news_and_others_warnings_are_logged_in_utc() -> None:
    done = subprocess.run([sys.executable, "-c", SCRIPT], capture_output=True, text=True, check=True)

    lines = [line.partition("Z ")[2] for line in done.stderr.splitlines()]
    assert lines == ["INFO notifications.sweeps: Sweep send: done 3.", "WARNING urllib3: Trouble"]
    assert done.stdout == ""

"""A sender that is killed at a step: `python -m tests.faults.sender DATABASE-URL PORT STEP NOW`. Only tests run it."""

from __future__ import annotations

import os
import signal
import sys
from datetime import datetime
from random import Random

from notifications.channels.mail.smtp import SmtpChannel, SmtpServer
from notifications.delivery import PostOffice, send_due
from notifications.instants import FixedClock
from portal.store.engine import open_engine, writing
from tests.notifications.office import plain


def post_office(url: str, port: int, step: str, now: datetime) -> PostOffice:
    """A post office that sends to a local server, and dies at its step as if by a power cut."""
    engine = open_engine(url)

    def die(point: str) -> None:
        if point == step:
            os.kill(os.getpid(), signal.SIGKILL)

    channel = SmtpChannel(SmtpServer("127.0.0.1", port), "example.com")
    return PostOffice(lambda: writing(engine), FixedClock(now), plain, {"mail": channel}, Random(1), fail_point=die)


if __name__ == "__main__":
    url, port, step, now = sys.argv[1:]
    send_due(post_office(url, int(port), step, datetime.fromisoformat(now)))

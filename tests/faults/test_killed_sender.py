"""A sender killed at each step, sending to a real server: nothing is lost, at most one mail comes twice."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import timedelta

import pytest
from sqlalchemy import Engine

from notifications.instants import FixedClock
from portal.store.engine import writing
from tests.notifications.office import Office
from tests.notifications.smtp_peer import Peer, serving

MESSAGES = 5


@pytest.fixture
def peer() -> Iterator[Peer]:
    with serving() as peer:
        yield peer


def sender(engine: Engine, peer: Peer, clock: FixedClock, step: str) -> int:
    """Run a sender in a process of its own until it is done or dead, and tell its exit status."""
    url = engine.url.render_as_string(hide_password=False)
    arguments = [url, str(peer.port), step, clock.now().isoformat()]
    return subprocess.run([sys.executable, "-m", "tests.faults.sender", *arguments], check=False).returncode


@pytest.mark.parametrize("step", ["claimed", "composed", "handing over", "handed over", "settled"])
def test_a_killed_sender_loses_nothing_and_repeats_one_mail_at_most(
    engine: Engine, clock: FixedClock, peer: Peer, step: str
):
    office = Office(lambda: writing(engine), clock, {})
    for place in range(MESSAGES):
        office.put(f"cause {place}")

    assert sender(engine, peer, clock, step) == -signal.SIGKILL
    assert sender(engine, peer, clock, "") == 0
    clock.at += timedelta(minutes=31)
    assert sender(engine, peer, clock, "") == 0

    times = Counter(mail["Message-ID"] for mail in peer.mails())
    assert {row.state for row in office.rows()} == {"sent"}
    assert len(times) == MESSAGES
    assert times.total() - MESSAGES == (1 if step == "handed over" else 0)

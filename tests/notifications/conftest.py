"""A post office on each kind of database, with a channel that answers as it is told to and remembers what it got."""

from __future__ import annotations

import pytest
from sqlalchemy import Engine

from notifications.instants import FixedClock
from portal.store.engine import writing
from tests.notifications.office import Office, ScriptedChannel


@pytest.fixture
def mail() -> ScriptedChannel:
    """A mail channel that takes every letter until it is told otherwise."""
    return ScriptedChannel()


@pytest.fixture
def office(engine: Engine, clock: FixedClock, mail: ScriptedChannel) -> Office:
    """A post office with one channel, on each kind of database."""
    return Office(lambda: writing(engine), clock, {"mail": mail})

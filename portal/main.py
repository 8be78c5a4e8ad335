"""Puts the parts together, and is the only place that reads the environment.

The site's factory, the commands and the clock all start here: settings, engine, links, desk, channels, compose, sweeps.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from random import Random, SystemRandom

from sqlalchemy import Engine

from notifications.instants import Clock, SystemClock
from portal import settings
from portal.actions.desk import Desk
from portal.links import Links
from portal.settings import Settings
from portal.store import schema
from portal.store.engine import open_engine, sqlite_url


@dataclass(frozen=True)
class Installation:
    """One shop's installation, ready to work."""

    settings: Settings
    engine: Engine
    desk: Desk


def open_installation(
    data: Path | None = None,
    *,
    clock: Clock | None = None,
    chooser: Random | None = None,
    environment: Mapping[str, str] | None = None,
) -> Installation:
    """Open the installation whose data folder, settings and secret exist, and bring its database up to date.

    Raises BadSetting, NoSecret, UnsafeDatabase.
    """
    read = settings.read(os.environ if environment is None else environment, data)
    secret = read.secret()
    engine = open_engine(read.database_url or sqlite_url(read.data / "benchwindow.db"))
    schema.upgrade(engine)
    desk = Desk(
        engine=engine,
        clock=clock or SystemClock(),
        links=Links(read.base_url, secret),
        chooser=chooser or SystemRandom(),
    )
    return Installation(read, engine, desk)

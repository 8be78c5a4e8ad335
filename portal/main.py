"""Puts the parts together, and is the only place that reads the environment.

The site's factory, the commands and the clock all start here: settings, engine, links, desk, channels, compose, sweeps.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random, SystemRandom
from threading import Event

from sqlalchemy import Engine

from notifications import clock as ticking
from notifications.channels import Channel, gateway, mail
from notifications.channels.push import PushChannel
from notifications.channels.push.hosts import read_hosts
from notifications.channels.ring import RingChannel
from notifications.delivery import PostOffice, no_fault
from notifications.instants import Clock, SystemClock
from notifications.sweeps import Registry, Tally
from portal import settings
from portal.actions.desk import Desk
from portal.actions.pushes import Listeners
from portal.letters import calling, make_composer
from portal.links import Links
from portal.settings import BadSetting, Settings
from portal.store import schema
from portal.store.engine import open_engine, sqlite_url
from portal.store.ledger import FileLedger
from portal.store.photo_files import PhotoFiles
from portal.sweeps import all_sweeps


@dataclass(frozen=True)
class Installation:
    """One shop's installation, ready to work."""

    settings: Settings
    engine: Engine
    desk: Desk
    post_office: PostOffice
    photo_files: PhotoFiles
    sweeps: Registry
    stopping: Event

    def sweep(self, names: Sequence[str] = (), *, explicit: bool = False) -> Iterator[tuple[str, Tally]]:
        """Do each sweep once, now; `explicit` when now is somebody's choice."""
        return self.sweeps.run(self.desk.clock.now(), names, explicit=explicit)

    def tick(self) -> None:
        """Be the clock, until somebody says stop."""
        ticking.run(self.sweeps, self.desk.clock, self.stopping)


def open_installation(
    data: Path | None = None,
    *,
    clock: Clock | None = None,
    chooser: Random | None = None,
    environment: Mapping[str, str] | None = None,
    fail_point: Callable[[str], None] = no_fault,
    durable: bool = True,
) -> Installation:
    """Open the installation whose data folder, settings and secret exist, and bring its database up to date.

    Not `durable` is for what can be made anew, like the demo: a power cut may lose it. Raises BadSetting, NoSecret,
    UnsafeDatabase.
    """
    read = settings.read(os.environ if environment is None else environment, data)
    secret = read.secret()
    engine = open_database(read, durable=durable)
    schema.upgrade(engine)
    desk = Desk(
        engine=engine,
        clock=clock or SystemClock(),
        links=Links(read.base_url, secret),
        chooser=chooser or SystemRandom(),
        ledger=FileLedger(read.data / "erased"),
        hasty=not durable,
    )
    stopping = Event()
    office = PostOffice(
        writing=desk.writing,
        clock=desk.clock,
        compose=make_composer(desk, read.mail_sender()),
        channels=_channels(read, desk),
        jitter=SystemRandom(),
        fail_point=fail_point,
        going_on=lambda: not stopping.is_set(),
    )
    files = PhotoFiles(read.photos_url or str(read.data / "photos"))
    sweeps = Registry(all_sweeps(desk, office, files, read), desk.writing, desk.reading)
    return Installation(read, engine, desk, office, files, sweeps, stopping)


def open_database(read: Settings, *, durable: bool = True) -> Engine:
    """The database that the settings name, as it is."""
    return open_engine(read.database_url or sqlite_url(read.data / "benchwindow.db"), durable=durable)


def _channels(read: Settings, desk: Desk) -> dict[str, Channel]:
    """The ways that messages may go, by the names that the policy knows them by."""
    found: dict[str, Channel] = {"mail": _mail(read), "ring": RingChannel(calling.noter(desk))}
    if read.gateways:
        try:
            found["sms"] = gateway.channel(read.gateways)
        except ValueError as fault:
            raise BadSetting("GATEWAYS", str(fault)) from None
    if read.push_contact:
        try:
            hosts = read_hosts(read.push_hosts)
        except ValueError as fault:
            raise BadSetting("PUSH_HOSTS", str(fault)) from None
        found["push"] = PushChannel(Listeners(desk), hosts, read.push_seed(), read.push_contact)
    return found


def _mail(read: Settings) -> Channel:
    try:
        return mail.channel(read.mail_url or f"maildir:{read.mailbox}", read.domain)
    except ValueError as fault:
        raise BadSetting("MAIL_URL", str(fault)) from None

"""Puts the parts together, and is the only place that reads the environment.

The site's factory, the commands and the clock all start here: settings, engine, links, desk, channels, compose, sweeps.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random, SystemRandom
from threading import Event

from sqlalchemy import Engine

from notifications import clock as ticking
from notifications.channels import Channel, gateway, mail
from notifications.channels.push import PushChannel
from notifications.channels.push.hosts import read_hosts
from notifications.channels.ring import RingChannel
from notifications.delivery import PostOffice, no_fault, send_due
from notifications.instants import Clock, SystemClock
from notifications.sweeps import Registry, Sweep, Tally
from portal import settings
from portal.actions import answers, archives, collection, figures, photos, retention, rights, windows
from portal.actions.desk import Desk
from portal.actions.pushes import Listeners
from portal.letters import calling, make_composer
from portal.links import Links
from portal.settings import BadSetting, Settings
from portal.store import house, schema, throttles
from portal.store.engine import empty_the_log, open_engine, sqlite_url
from portal.store.ledger import FileLedger
from portal.store.photo_files import PhotoFiles


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
    sweeps = Registry(_sweeps(desk, office, files, read), desk.writing, desk.reading)
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


def _sweeps(desk: Desk, office: PostOffice, files: PhotoFiles, read: Settings) -> list[Sweep]:
    """The sweeps there are, in the order: remind, lapse, forecast, purge, tidy, backup, send."""

    def tidy(now: datetime) -> Tally:
        with desk.writing() as connection:
            forgotten = throttles.forget(connection, now)
        seen, orphans = photos.sweep_up(desk, files, now)
        return Tally(forgotten + seen, forgotten + orphans)

    def remind(now: datetime) -> Tally:
        done = [collection.remind(desk, now), answers.remind(desk, now), rights.remind(desk, now)]
        return Tally(sum(looked_at for looked_at, _done in done), sum(reminded for _looked_at, reminded in done))

    def lapse(now: datetime) -> Tally:
        return Tally(*answers.lapse(desk, now))

    def forecast(now: datetime) -> Tally:
        counted = figures.count_ended(desk, now)
        looked_at, made = windows.sweep(desk, now)
        return Tally(looked_at + counted, made + counted)

    def purge(now: datetime) -> Tally:
        gone = sum(each.count for each in retention.apply(desk, files, now))
        if gone:
            empty_the_log(desk.engine)
        return Tally(gone, gone)

    def backup(now: datetime) -> Tally:
        return Tally(*archives.nightly(desk, files, read.archives, read.archive_days, read.archive_for, now))

    def send(_now: datetime) -> Tally:
        with desk.reading() as connection:
            if house.when(connection, house.HELD_SINCE):  # restored, and not released yet
                return Tally()
        batch = send_due(office)
        return Tally(batch.looked_at, batch.done, batch.failed)

    return [
        Sweep("remind", remind),
        Sweep("lapse", lapse),
        Sweep("forecast", forecast),
        Sweep("purge", purge, every=timedelta(minutes=10), destroys=True),
        Sweep("tidy", tidy, every=timedelta(minutes=10), destroys=True),
        Sweep("backup", backup, every=timedelta(minutes=10)),
        Sweep("send", send, every=timedelta(seconds=5)),
    ]

"""What the clock does again and again: each sweep a plain function of now, that finds nothing to do the second time."""

from __future__ import annotations

from datetime import datetime, timedelta

from notifications.delivery import PostOffice, send_due
from notifications.sweeps import Sweep, Tally
from portal.actions import (
    answers,
    archive_trial,
    archives,
    balance,
    collection,
    figures,
    photos,
    refunds,
    retention,
    rights,
    windows,
)
from portal.actions.desk import Desk
from portal.letters import calling
from portal.settings import Settings
from portal.store import house, throttles
from portal.store.engine import empty_the_log
from portal.store.photo_files import PhotoFiles


def all_sweeps(desk: Desk, office: PostOffice, files: PhotoFiles, read: Settings) -> list[Sweep]:
    """The sweeps there are, in the order: remind, lapse, forecast, purge, tidy, backup, send."""

    def tidy(now: datetime) -> Tally:
        with desk.writing() as connection:
            forgotten = throttles.forget(connection, now)
        seen, orphans = photos.sweep_up(desk, files, now)
        calls, untrue = calling.close_untrue(desk, now)
        return Tally(forgotten + seen + calls, forgotten + orphans + untrue)

    def remind(now: datetime) -> Tally:
        done = [
            collection.remind(desk, now),
            answers.remind(desk, now),
            rights.remind(desk, now),
            refunds.remind(desk, now),
            rights.end_announced(desk, now),
        ]
        return Tally(sum(looked_at for looked_at, _done in done), sum(reminded for _looked_at, reminded in done))

    def lapse(now: datetime) -> Tally:
        return Tally(*answers.lapse(desk, now))

    def forecast(now: datetime) -> Tally:
        counted = figures.count_ended(desk, now)
        done = [windows.sweep(desk, now), balance.fill_in(desk)]
        return Tally(
            counted + sum(looked_at for looked_at, _made in done), counted + sum(made for _looked_at, made in done)
        )

    def purge(now: datetime) -> Tally:
        gone = sum(each.count for each in retention.apply(desk, files, now))
        if gone:
            empty_the_log(desk.engine)
        return Tally(gone, gone)

    def backup(now: datetime) -> Tally:
        archive_trial.forget_killed(now)
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

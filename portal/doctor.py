"""Looks an installation over: settings, secret, database, storage, mail, clock, policy, stuck messages.

Every finding is a line for people: in order, worth a look, or to be mended, and then how.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from notifications import outbox
from notifications.channels import Channel, Undelivered
from portal import settings
from portal.actions.desk import NoPolicy
from portal.main import Installation, open_database, open_installation
from portal.rules.print_sizes import leads_only_here
from portal.rules.sms import LONGEST_ADDRESS
from portal.settings import BadSetting, NoSecret, Settings
from portal.store import house as remembered
from portal.store import schema
from portal.store.engine import SQLITE_PRAGMAS, UnsafeDatabase, pragmas
from portal.store.photo_files import NoPhotoStore

# What PostgreSQL must not be set to where what was sent must be known after a power cut.
POSTGRES_DURABLE = {"fsync": ("off",), "synchronous_commit": ("off",), "full_page_writes": ("off",)}
STALE_AFTER = timedelta(minutes=15)
ARCHIVE_STALE_AFTER = timedelta(days=2)
TRIAL_STALE_AFTER = timedelta(days=45)  # once a month, and some grace


@dataclass(frozen=True)
class Finding:
    """One thing looked at."""

    what: str
    says: str
    must_be_mended: bool = False
    worth_a_look: bool = False

    def __str__(self) -> str:
        word = "MEND" if self.must_be_mended else "look" if self.worth_a_look else "ok"
        return f"{word:<5} {self.what}: {self.says}"


def look_over(data: Path | None) -> list[Finding]:
    """Look everything over; what cannot be opened ends the list with what to mend first."""
    try:
        read = settings.read(os.environ, data)
        findings = [Finding("settings", f"read; the data folder is {read.data}"), *_secret(read)]
        if behind := _schema(read):
            return [*findings, behind]
        house = open_installation(data)
    except (BadSetting, NoSecret, NoPhotoStore) as fault:
        return [Finding("settings", str(fault), must_be_mended=True)]
    except (UnsafeDatabase, SQLAlchemyError) as fault:
        says = str(fault) if isinstance(fault, UnsafeDatabase) else f"does not answer ({type(fault).__name__})"
        return [*findings, Finding("database", says, must_be_mended=True)]
    try:
        for look in _LOOKS:
            findings.extend(look(house))
    finally:
        house.engine.dispose()
    return findings


def address_warning(base_url: str) -> str:
    """Why the site's address would not open on a customer's phone, or "" where it may."""
    return str(leads_only_here(base_url) or "")


def _secret(read: Settings) -> Iterator[Finding]:
    if read.secret_key:
        yield Finding("secret", "given by BENCHWINDOW_SECRET_KEY")
    elif read.secret_file.exists():
        mode = stat.S_IMODE(read.secret_file.stat().st_mode)
        if mode & 0o077:
            yield Finding("secret", f"others may read it: chmod 600 {read.secret_file}", must_be_mended=True)
        else:
            yield Finding("secret", "there, and only its owner may read it")


def _schema(read: Settings) -> Finding | None:
    """What the program would change in the database when it starts. Looking must not change it."""
    read.secret()  # without one there is no shop here, and opening the database would make its file
    engine = open_database(read)
    try:
        steps = schema.outstanding(engine)
    finally:
        engine.dispose()
    if not steps:
        return None
    says = f"is older than this program, which brings it up to date when it starts: {', '.join(steps)}"
    return Finding("database", f"{says}. Make a backup first, then look again.", worth_a_look=True)


def _address(house: Installation) -> Iterator[Finding]:
    warning = address_warning(house.settings.base_url)
    yield Finding("address", warning or house.settings.base_url, worth_a_look=bool(warning))


def _database(house: Installation) -> Iterator[Finding]:
    with house.desk.reading() as connection:
        if house.engine.dialect.name == "sqlite":
            answers = pragmas(connection)
            wrong = [name for name, wanted in SQLITE_PRAGMAS.items() if answers[name] != wanted]
            told = ", ".join(f"{name} = {value}" for name, value in answers.items())
            yield Finding("database", f"SQLite, {told}", must_be_mended=bool(wrong))
        else:
            answers = {name: connection.execute(text(f"SHOW {name}")).scalar_one() for name in POSTGRES_DURABLE}
            wrong = [name for name, unsafe in POSTGRES_DURABLE.items() if answers[name] in unsafe]
            told = ", ".join(f"{name} = {value}" for name, value in answers.items())
            mend = f"; a power cut would lose messages, set {' and '.join(wrong)} to on" if wrong else ""
            yield Finding("database", f"PostgreSQL, {told}{mend}", must_be_mended=bool(wrong))


def _storage(house: Installation) -> Iterator[Finding]:
    folder = house.settings.data
    free = os.statvfs(folder)
    megabytes = free.f_bavail * free.f_frsize // 1024**2
    if not os.access(folder, os.W_OK):
        yield Finding("storage", f"{folder} cannot be written; give this user the right", must_be_mended=True)
    elif megabytes < 200:
        yield Finding("storage", f"only {megabytes} MB are free; make room", must_be_mended=True)
    else:
        yield Finding("storage", f"{megabytes} MB free")


def _photos(house: Installation) -> Iterator[Finding]:
    try:
        house.photo_files.prove()
    except OSError as fault:
        says = f"cannot be kept: {fault}. Look at BENCHWINDOW_PHOTOS_URL."
        yield Finding("photos", says, must_be_mended=True)
    else:
        yield Finding("photos", "can be kept")


def _mail(house: Installation) -> Iterator[Finding]:
    yield _channel("mail", house.post_office.channels["mail"], " Look at BENCHWINDOW_MAIL_URL.")


def _gateways(house: Installation) -> Iterator[Finding]:
    channel = house.post_office.channels.get("sms")
    if channel is None:
        yield Finding("texts", "no gateway is set (BENCHWINDOW_GATEWAYS); nobody gets text messages")
        return
    doubt = ""
    if (length := len(house.desk.links.base_url)) > LONGEST_ADDRESS:
        doubt = (
            f"{channel.describe()}; the address of the site has {length} signs, and with more than {LONGEST_ADDRESS} "
            "some texts go out as two, each paid for"
        )
    yield _channel("texts", channel, " Look at BENCHWINDOW_GATEWAYS.", doubt)


def _push(house: Installation) -> Iterator[Finding]:
    channel = house.post_office.channels.get("push")
    if channel is None:
        yield Finding("notices", "no contact is set (BENCHWINDOW_PUSH_CONTACT); nobody gets notices on their device")
        return
    doubt = ""
    if not house.settings.https:
        doubt = "browsers show them for sites with https only; set BENCHWINDOW_BASE_URL to an address with https"
    yield _channel("notices", channel, doubt=doubt)


def _channel(name: str, channel: Channel, look_at: str = "", doubt: str = "") -> Finding:
    """Whether a channel works, and then whatever there is to `doubt`, or else how its messages go."""
    try:
        channel.check()
    except Undelivered as fault:
        return Finding(name, f"{fault.why}.{look_at}", must_be_mended=True)
    return Finding(name, doubt or channel.describe(), worth_a_look=bool(doubt))


def _clock(house: Installation) -> Iterator[Finding]:
    beats, now = house.sweeps.beats(), house.desk.clock.now()
    stale = stale_sweeps(house, beats, now)
    if held := house.sweeps.held(now):
        yield Finding("clock", f"{held} Until then nothing is deleted.", must_be_mended=True)
    if not beats:
        yield Finding("clock", "has not run yet; `serve` starts it, or run `clock`", worth_a_look=True)
    elif stale:
        told = ", ".join(f"{name} last at {beats[name]:%Y-%m-%d %H:%M}Z" for name in stale if name in beats)
        yield Finding(
            "clock", f"stands still: {told or ', '.join(stale)}. Start `serve` or `clock`.", must_be_mended=True
        )
    else:
        yield Finding("clock", f"alive; last seen {max(beats.values()):%Y-%m-%d %H:%M}Z")


def stale_sweeps(house: Installation, beats: dict[str, datetime], now: datetime) -> list[str]:
    """The sweeps whose heartbeat is missing or too old."""
    limits = {sweep.name: max(STALE_AFTER, 3 * sweep.every) for sweep in house.sweeps.sweeps}
    return [name for name, limit in limits.items() if name not in beats or now - beats[name] > limit]


def _archives(house: Installation) -> Iterator[Finding]:
    """When the last archive was made, and when one was last brought back in a test."""
    now = house.desk.clock.now()
    with house.desk.reading() as connection:
        made = remembered.when(connection, remembered.ARCHIVED_AT)
        tried = remembered.when(connection, remembered.TRIED_AT)
    if made is None:
        yield Finding("archives", "none was made yet; the clock makes one each night", worth_a_look=True)
        return
    stale = bool(house.settings.archive_days) and now - made > ARCHIVE_STALE_AFTER
    says = f"the last was made {made:%Y-%m-%d %H:%M}Z"
    yield Finding("archives", f"{says}; is there room, is the clock alive?" if stale else says, must_be_mended=stale)
    if tried is None or now - tried > TRIAL_STALE_AFTER:
        last = f"last {tried:%Y-%m-%d}" if tried else "never"
        yield Finding("archives", f"brought back in a test: {last}; run `restore --test`", worth_a_look=True)
    else:
        yield Finding("archives", f"brought back in a test {tried:%Y-%m-%d %H:%M}Z")


def _policy(house: Installation) -> Iterator[Finding]:
    try:
        with house.desk.reading() as connection:
            revision, policy = house.desk.shelf.read(connection)
    except NoPolicy as fault:
        yield Finding("policy", str(fault), must_be_mended=True)
    else:
        yield Finding("policy", f"revision {revision}, {len(policy.stages)} stages, {len(policy.kinds)} kinds")


def _messages(house: Installation) -> Iterator[Finding]:
    now = house.desk.clock.now()
    with house.desk.reading() as connection:
        late, failed = outbox.stuck(connection, now - timedelta(hours=1)), outbox.count(connection, "failed")
        in_doubt = outbox.in_doubt(connection)
    if late:
        yield Finding("messages", f"{late} wait for more than an hour; is the clock alive?", must_be_mended=True)
    elif failed or in_doubt:
        says = f"{failed} could not be delivered, of {in_doubt} nobody knows whether they arrived; see them under Shop"
        yield Finding("messages", says, worth_a_look=True)
    else:
        yield Finding("messages", "none is stuck")


_LOOKS: tuple[Callable[[Installation], Iterator[Finding]], ...] = (
    _address,
    _database,
    _storage,
    _photos,
    _mail,
    _gateways,
    _push,
    _clock,
    _policy,
    _messages,
    _archives,
)

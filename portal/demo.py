"""Makes the demo shop in a folder of its own and says where to look.

An invented shop, built through the same actions as a real one. The past's messages are marked as sent without anybody
composing them; the last days' are delivered into the mailbox folder, to be read as a customer would.
"""

from __future__ import annotations

import os
import shutil
import socket
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

import tomlkit
from sqlalchemy import Connection, bindparam, update
from tomlkit.items import AoT

from notifications.delivery import send_due
from notifications.instants import FixedClock, SystemClock
from notifications.outbox import about
from notifications.tables import outbox
from portal import resources, settings
from portal.actions import people, windows
from portal.actions.desk import COMMAND, By
from portal.actions.shop import load_policy
from portal.main import Installation, open_installation
from portal.rules.messages import Channel
from portal.rules.numbers import spoken
from portal.rules.tokens import LinkKind
from portal.store import tickets, visits
from portal.store.tickets import OpenTicket
from seed import year
from seed.year import WHOLE, Size

MARK = settings.DEMO_MARK  # only a folder with this file in it is ever wiped
UNFINISHED = "unfinished\n"
MAIL_KEPT = timedelta(days=10)
LOGINS = {
    name: (person["role"], person["password"])
    for name, person in tomllib.loads((resources.demo_shop() / "people.toml").read_text(encoding="utf-8")).items()
}


class NotADemo(ValueError):
    """The folder holds something that no demo made, so it is left alone."""

    def __init__(self, folder: Path) -> None:
        super().__init__(f"{folder} was not made by a demo, so it is left as it is. Choose another with --data.")


@dataclass(frozen=True)
class Demo:
    """A demo that is ready to be served."""

    folder: Path
    base_url: str
    links: tuple[tuple[str, str], ...]  # what it shows, and where

    def welcome(self) -> str:
        """Where to look, and how to log in."""
        lines = [
            f"The demo shop is in {self.folder}",
            f"  Start here  {self.base_url}/try/   (bench, keeper and customer side by side)",
            "",
            "Log in at the bench:",
        ]
        lines += [
            f"  {self.base_url}/login   {name} ({role}), password: {word}" for name, (role, word) in LOGINS.items()
        ]
        lines += ["", "Follow a repair as its owner does:"]
        lines += [f"  {link}   {what}" for what, link in self.links]
        lines += ["", f"Mail that went out lies in {self.folder / 'mail'}; nobody gets it.", "Stop with Ctrl-C."]
        return "\n".join(lines)


def make(
    folder: Path,
    host: str,
    port: int,
    *,
    seed: int = 1,
    fresh: bool = False,
    now: datetime | None = None,
    size: Size = WHOLE,
) -> Demo:
    """Make the demo where there is none, or find the one that is there. Raises NotADemo.

    `now` is the moment up to which the year is lived, by default the present one.
    """
    folder = folder.resolve()
    mark = folder / MARK
    if folder.exists() and any(folder.iterdir()) and not mark.exists():
        raise NotADemo(folder)
    if mark.exists() and (fresh or mark.read_text(encoding="utf-8") == UNFINISHED):
        shutil.rmtree(folder)
    is_new = not mark.exists()
    base_url = f"http://{_reachable(host)}:{port}"
    _write_settings(folder, base_url)
    if is_new:
        mark.write_text(UNFINISHED, encoding="utf-8")
        settings.make_secret(settings.read({}, folder).secret_file)
        _live_the_year(folder, seed, now or SystemClock().now(), size)
        mark.write_text(f"seed {seed}\n", encoding="utf-8")
    return Demo(folder, base_url, _links(folder))


def _live_the_year(folder: Path, seed: int, now: datetime, size: Size) -> None:
    clock = FixedClock(now - timedelta(days=366))
    # The demo's ids can be foretold; nothing of anybody's hangs on them.
    with _opened(folder, clock, Random(f"ids {seed}")) as house:  # noqa: S311
        load_policy(house.desk, COMMAND, policy_text())
        staff = {name: By("staff", _add(house, name)) for name in LOGINS}
        by = staff["Robin"], staff["Kim"]
        for evening in year.live(house.desk, house.photo_files, clock, now, *by, seed, size):
            if now - evening < MAIL_KEPT:
                send_due(house.post_office)
                windows.sweep(house.desk, evening)
            else:
                with house.desk.writing() as connection:
                    connection.execute(_READ_LONG_AGO)
        windows.sweep(house.desk, clock.now())
        _let_one_come_back(house)


def _let_one_come_back(house: Installation) -> None:
    """The mail server refused a mail about a repair that is still here: the bench has to decide about it."""
    with house.desk.writing() as connection:
        here = [line.visit_ref for line in tickets.open_tickets(connection) if line.ticket.stage]
        told = [each for each in about(connection, here) if each.event == "taken_in" and each.channel == Channel.MAIL]
        if long_ago := [each for each in told if not each.message_id]:
            connection.execute(_REFUSED, {"wanted": long_ago[0].id})


_REFUSED = (
    update(outbox)
    .where(outbox.c.id == bindparam("wanted"))
    .values(state="failed", outcome="550 5.1.1 There is no such mailbox here")
)


# The mail of months ago would only fill the mailbox folder, so nobody composes it.
_READ_LONG_AGO = (
    update(outbox)
    .where(outbox.c.state == "waiting")
    .values(state="sent", settled_at=outbox.c.made_at, attempts=1, outcome="")
)


def _add(house: Installation, name: str) -> int:
    role, password = LOGINS[name]
    return people.add_staff(house.desk, COMMAND, name, password, role)


def policy_text() -> str:
    """The default policy with what the demo shop says otherwise; tables in a list are added to those there."""
    document = tomlkit.parse(resources.default_policy().read_text(encoding="utf-8"))
    other = tomllib.loads((resources.demo_shop() / "shop.toml").read_text(encoding="utf-8"))
    for part, values in other.items():
        table = document.setdefault(part, tomlkit.table())
        for name, value in values.items():
            if isinstance(table.get(name), AoT):
                table[name].extend(value)
            else:
                table[name] = value
    return tomlkit.dumps(document)


@contextmanager
def _opened(folder: Path, clock: FixedClock | None = None, chooser: Random | None = None) -> Iterator[Installation]:
    house = open_installation(folder, clock=clock, chooser=chooser, environment={}, durable=False)
    try:
        yield house
    finally:
        house.engine.dispose()


def _write_settings(folder: Path, base_url: str) -> None:
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    file = folder / settings.FILE
    kept = tomllib.loads(file.read_text(encoding="utf-8")) if file.exists() else {}
    file.write_text(tomlkit.dumps(kept | {"base_url": base_url}), encoding="utf-8")
    os.chmod(file, 0o600)


def _links(folder: Path) -> tuple[tuple[str, str], ...]:
    """For each stage, the open ticket about which there is most to read, and one whose owner reads German."""
    with _opened(folder) as house:
        with house.desk.reading() as connection:
            found = sorted(tickets.open_tickets(connection), key=lambda line: -line.ticket.revision)
            policy = house.desk.policy(connection)
            german = next((each for each in found if _language(connection, each) == "de"), None)
        shown = [next((each for each in found if each.ticket.stage == stage.key), None) for stage in policy.stages]
        links = []
        for line in dict.fromkeys(filter(None, (*shown, german))):
            stage = policy.stage(line.ticket.stage)
            where = stage.label_sentence() if stage else "announced"
            link = house.desk.links.customer(LinkKind.DOCKET, line.visit_ref, line.docket_version)
            links.append((f"{spoken(line.ticket.number)}, {line.ticket.device}: {where}", link))
        return tuple(links)


def _language(connection: Connection, line: OpenTicket) -> str:
    visit = visits.by_ref(connection, line.visit_ref)
    return visit.language if visit else ""


def _reachable(host: str) -> str:
    """The address that a phone on the same network would use, where the site listens to everybody."""
    if host not in ("0.0.0.0", "::"):  # noqa: S104 (asked for, not chosen)
        return f"[{host}]" if ":" in host else host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # sends nothing; tells which of our addresses would be used
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])

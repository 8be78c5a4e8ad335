"""Makes the demo shop in a folder of its own and says where to look.

An invented shop, built through the same actions as a real one. The past's mail is counted as sent but kept nowhere; the
last days' lies in the mailbox folder, to be read as a customer would.
"""

from __future__ import annotations

import os
import shutil
import socket
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

import tomlkit

from notifications.delivery import send_due
from notifications.instants import FixedClock, SystemClock
from notifications.letters import Letter
from portal import resources, settings
from portal.actions import people
from portal.actions.desk import COMMAND, By
from portal.actions.shop import load_policy
from portal.main import Installation, open_installation
from portal.rules.numbers import spoken
from portal.rules.tokens import LinkKind
from portal.store import policies, tickets
from seed import stories

MARK = "made-by-demo"  # only a folder with this file in it is ever wiped
MAIL_KEPT = timedelta(days=10)
LOGINS = {"Kim": ("keeper", "seven lamps over the quay"), "Robin": ("bench", "copper tape and tweezers")}
_SHOP = {
    "name": "Lantern Street Repairs",
    "address": ["7 Lantern Street", "Quayhaven"],
    "phone": "07700 900555",
    "email": "hello@lantern-street.example",
}


class NotADemo(RuntimeError):
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
        lines = [f"The demo shop is in {self.folder}", f"  Start here  {self.base_url}/", "", "Log in at the bench:"]
        lines += [
            f"  {self.base_url}/login   {name} ({role}), password: {word}" for name, (role, word) in LOGINS.items()
        ]
        lines += ["", "Follow a repair as its owner does:"]
        lines += [f"  {link}   {what}" for what, link in self.links]
        lines += ["", f"Mail that went out lies in {self.folder / 'mail'}; nobody gets it.", "Stop with Ctrl-C."]
        return "\n".join(lines)


def make(
    folder: Path, host: str, port: int, *, seed: int = 1, fresh: bool = False, now: datetime | None = None
) -> Demo:
    """Make the demo where there is none, or find the one that is there. Raises NotADemo."""
    folder = folder.resolve()
    if fresh and folder.exists():
        if not (folder / MARK).exists():
            raise NotADemo(folder)
        shutil.rmtree(folder)
    if folder.exists() and any(folder.iterdir()) and not (folder / MARK).exists():
        raise NotADemo(folder)
    base_url = f"http://{_reachable(host)}:{port}"
    is_new = not (folder / MARK).exists()
    _write_settings(folder, base_url)
    read = settings.read({}, folder)
    settings.make_secret(read.secret_file)
    if is_new:
        _live_the_year(folder, seed, now or SystemClock().now())
        (folder / MARK).touch()
    return Demo(folder, base_url, _links(folder))


def _live_the_year(folder: Path, seed: int, now: datetime) -> None:
    clock = FixedClock(now - timedelta(days=366))
    # The demo's ids can be foretold; nothing of anybody's hangs on them.
    with _opened(folder, clock, Random(f"ids {seed}")) as house:  # noqa: S311
        with house.desk.reading() as connection:
            begun = policies.newest(connection) > 0
        if begun:
            raise NotADemo(folder)
        load_policy(house.desk, COMMAND, policy_text())
        staff = {name: By("staff", _add(house, name)) for name in LOGINS}
        swallow = replace(house.post_office, channels={"mail": Swallow()})
        for evening in stories.tell(house.desk, clock, now, staff["Robin"], staff["Kim"], seed):
            send_due(house.post_office if now - evening < MAIL_KEPT else swallow)


def _add(house: Installation, name: str) -> int:
    role, password = LOGINS[name]
    return people.add_staff(house.desk, COMMAND, name, password, role)


def policy_text() -> str:
    """The default policy with the demo shop's name on it."""
    document = tomlkit.parse(resources.default_policy().read_text(encoding="utf-8"))
    for name, value in _SHOP.items():
        document["shop"][name] = value
    return tomlkit.dumps(document)


class Swallow:
    """A channel that says yes and keeps nothing: the mail of a year ago has long been read."""

    @contextmanager
    def line(self) -> Iterator[Swallow]:
        """Always open."""
        yield self

    def send(self, letter: Letter, message_id: str) -> None:
        """Nothing is kept."""

    def new_message_id(self) -> str:
        """A name that nobody will ask for."""
        return "<past@demo.invalid>"

    def check(self) -> None:
        """Always works."""

    def describe(self) -> str:
        """Where mail goes."""
        return "is kept nowhere"


@contextmanager
def _opened(folder: Path, clock: FixedClock, chooser: Random) -> Iterator[Installation]:
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
    house = open_installation(folder, environment={})
    try:
        with house.desk.reading() as connection:
            found = tickets.open_tickets(connection)
            policy = house.desk.policy(connection)
        shown = []
        for stage in policy.stages[1:]:
            line = next((each for each in found if each.ticket.stage == stage.key), None)
            if line:
                link = house.desk.links.customer(LinkKind.DOCKET, line.visit_ref, line.docket_version)
                shown.append((f"{spoken(line.ticket.number)}, {line.ticket.device}: {stage.label_sentence()}", link))
        return tuple(shown)
    finally:
        house.engine.dispose()


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

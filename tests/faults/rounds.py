"""Kills real clocks at random moments, and counts what came of it: `python -m tests.faults.rounds 200`.

Each round two `clock` processes send to a real mail server that takes, refuses, stalls and hangs up, and both are
killed with SIGKILL. Each fifth round is half an hour later by `sweep --at`, so that what is in doubt comes round again,
and is killed as well. In the end all is sent. With `--python` the processes are those of an installed wheel; nothing
here imports the program: its data folder is read as any SQLite file is, and searched for the links and the words of
what was sent, which lie with their readers alone.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.notifications.smtp_peer import DROP, HANG, Peer, serving

PRODUCER = Path(__file__).with_name("producer.py")
SEARCH = Path(__file__).with_name("look_for.py")
LINK = re.compile(r"/t/([A-Z2-7]{20,})")
MESSAGES = 6  # a round
LATER = timedelta(minutes=31)  # a lease, or what is in doubt, is over by then
ANSWERS = ("250 OK", "250 OK", "250 OK", "250 OK", "451 busy", DROP, HANG)
PATIENCE = 20.0  # seconds in which a clock must have come to its first mail


@dataclass
class Figures:
    """What a run counted."""

    rounds: int = 0
    kills: int = 0  # processes
    put: int = 0
    states: Counter[str] = field(default_factory=Counter)  # of all messages, in the end
    taken: Counter[str] = field(default_factory=Counter)  # how often the server took the mail to an address
    ids: Counter[tuple[str, str]] = field(default_factory=Counter)  # the same, by address and Message-ID
    in_doubt: set[str] = field(default_factory=set)  # addresses whose message was left to the staff
    looked_for: int = 0  # links and sentences of mails, in the data folder
    found: str = ""  # of them, a line each

    @property
    def lost(self) -> int:
        """Messages that nobody got and nobody is told of."""
        return self.put - len(set(self.taken) | self.in_doubt)

    @property
    def repeats(self) -> int:
        """Mails that came once more."""
        return sum(self.taken.values()) - len(self.taken)

    @property
    def most_often(self) -> int:
        """How often the mail that came most often came."""
        return max(self.taken.values(), default=0)

    @property
    def strangers(self) -> int:
        """Repeats under another Message-ID, which a reader could not tell for the same."""
        return len(self.ids) - len(self.taken)

    def __str__(self) -> str:
        ends = ", ".join(f"{count} {state}" for state, count in sorted(self.states.items()))
        return (
            f"{self.rounds} rounds, {self.kills} processes killed, {self.put} messages: {self.lost} lost, "
            f"{self.repeats} repeated ({self.strangers} of them under another Message-ID), at most {self.most_often} "
            f"times one; in the end {ends}; of {self.looked_for} links and sentences of the mails "
            f"{len(self.found.splitlines())} lie in the data folder"
        )


class Shop:
    """A shop in a folder, its processes run by one interpreter."""

    def __init__(self, folder: Path, python: str, peer: Peer, dice: random.Random) -> None:
        self.folder, self.python, self.peer, self.dice = folder, python, peer, dice
        self.environment = {name: value for name, value in os.environ.items() if not name.startswith("BENCHWINDOW_")}
        self.environment |= {
            "BENCHWINDOW_DATA": str(folder / "shop"),
            "BENCHWINDOW_MAIL_URL": f"smtp://127.0.0.1:{peer.port}",
        }
        self.figures = Figures()
        self.later = datetime.now(UTC)

    def start(self, *arguments: str, **more: object) -> subprocess.Popen[str]:
        """Start a process of the program, away from the checkout."""
        return subprocess.Popen(
            [self.python, *arguments],
            cwd=self.folder,
            env=self.environment,
            text=True,
            stderr=subprocess.DEVNULL,
            **more,  # type: ignore[call-overload]
        )

    def run(self, *arguments: str) -> int:
        """Run a subcommand to its end, and tell its status."""
        return self.start("-m", "portal", *arguments, stdout=subprocess.DEVNULL).wait()

    def kill_two(self, *arguments: str) -> None:
        """Start a subcommand twice at once, and kill both at a random moment of their sending."""
        before = len(self.peer.got)
        both = [self.start("-m", "portal", *arguments, stdout=subprocess.DEVNULL) for _each in range(2)]
        deadline = time.monotonic() + PATIENCE
        while len(self.peer.got) == before and time.monotonic() < deadline and any(p.poll() is None for p in both):
            time.sleep(0.002)
        time.sleep(self.dice.choice((0.0, 0.02, 0.1, 0.3)) * self.dice.random())
        for process in both:
            self.figures.kills += process.poll() is None
            process.kill()
            process.wait()

    def open_messages(self) -> int:
        """How many messages are not settled."""
        return self._query("SELECT count(*) FROM outbox WHERE settled_at IS NULL")[0][0]

    def count(self) -> Figures:
        """Read the figures from the data folder and from what the server took."""
        self.figures.states = Counter(dict(self._query("SELECT state, count(*) FROM outbox GROUP BY state")))
        self.figures.put = self.figures.states.total()
        in_doubt = (
            "SELECT contacts.email FROM contacts JOIN outbox ON outbox.recipient = contacts.ref"
            " WHERE outbox.state IN ('unknown', 'failed')"
        )
        self.figures.in_doubt = {row[0] for row in self._query(in_doubt)}
        for mail in self.peer.mails():
            self.figures.taken[str(mail["To"])] += 1
            self.figures.ids[str(mail["To"]), str(mail["Message-ID"])] += 1
        return self.figures

    def search(self) -> None:
        """Look in every byte of the data folder for what some of the mails said, by a process of its own."""
        some = self.dice.sample(self.peer.mails(), min(10, len(self.peer.got)))
        texts = [mail.get_body(("plain",)).get_content() for mail in some]  # type: ignore[union-attr]
        marks = {link for text in texts for link in LINK.findall(text)}
        marks |= {line for text in texts for line in text.splitlines() if len(line) > 60 and "/t/" not in line}
        ran = subprocess.run(
            [sys.executable, "-I", SEARCH, self.folder / "shop", *sorted(marks)],
            capture_output=True,
            text=True,
            check=False,
        )
        if ran.stderr:
            raise RuntimeError(ran.stderr)
        self.figures.looked_for, self.figures.found = len(marks), ran.stdout

    def _query(self, statement: str) -> list[tuple]:
        with closing(sqlite3.connect(self.folder / "shop" / "benchwindow.db", timeout=30)) as database:
            return database.execute(statement).fetchall()


def kill(rounds: int, python: str = sys.executable, seed: int = 1) -> Figures:
    """Do so many rounds, bring what is left to its end, and tell the figures."""
    dice = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder, serving() as peer:
        shop = Shop(Path(folder), python, peer, dice)
        if shop.run("init") != 0:
            raise RuntimeError(f"`{python} -m portal init` did not work in {folder}.")
        with _producer(shop) as producer:
            for each in range(rounds):
                _put(producer, MESSAGES)
                peer.says["data"] = [dice.choice(ANSWERS) for _mail in range(3 * MESSAGES)]
                if each % 5 == 4:
                    shop.later += LATER
                    shop.kill_two("sweep", "send", "--at", shop.later.isoformat())
                else:
                    shop.kill_two("clock")
                shop.figures.rounds += 1
        peer.says["data"] = []
        for _hour in range(24):
            if shop.open_messages() == 0:
                break
            shop.later += 2 * LATER
            shop.run("sweep", "send", "--at", shop.later.isoformat())
        shop.search()
        return shop.count()


@contextmanager
def _producer(shop: Shop) -> Iterator[subprocess.Popen[str]]:
    process = shop.start(str(PRODUCER), str(shop.folder / "shop"), stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    with process:
        yield process
        if process.stdin:
            process.stdin.close()


def _put(producer: subprocess.Popen[str], count: int) -> None:
    if producer.stdin is None or producer.stdout is None:
        raise RuntimeError("The producer has no pipes.")
    producer.stdin.write(f"{count}\n")
    producer.stdin.flush()
    if producer.stdout.readline() != "done\n":
        raise RuntimeError("The producer ended too early.")


def main() -> int:
    """Do the rounds, print the figures, and tell whether they are as promised."""
    options = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    options.add_argument("rounds", type=int, nargs="?", default=200)
    options.add_argument("--python", default=sys.executable, help="the interpreter of an installed wheel")
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    figures = kill(chosen.rounds, chosen.python, chosen.seed)
    print(figures)
    as_promised = figures.lost == 0 and figures.repeats <= figures.kills and figures.most_often <= 2
    return 0 if as_promised and not figures.found else 1


if __name__ == "__main__":
    sys.exit(main())

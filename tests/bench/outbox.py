"""How fast messages go out, and what a long past costs: `python -m tests.bench.outbox`. Read the ratios, not seconds.

1. Messages a second through the outbox to a local SMTP server, against bare smtplib on one connection in the same run
   (aim: at least half).
2. A sweep with ten due when 200,000 were sent long ago, against the same with an empty past (aim: at most 1.5 times).
"""

from __future__ import annotations

import argparse
import smtplib
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

from sqlalchemy import Engine, insert

from notifications import outbox
from notifications.channels.mail.message import mail
from notifications.channels.mail.smtp import SmtpChannel, SmtpServer
from notifications.delivery import PostOffice, send_due
from notifications.instants import FixedClock
from notifications.letters import Due, Letter
from notifications.outbox import Message
from notifications.tables import metadata
from notifications.tables import outbox as table
from portal.store.engine import open_engine, sqlite_url, writing
from tests.notifications.office import ScriptedChannel
from tests.notifications.smtp_peer import serving

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
PAST = 200_000
TEXT = "Your device is ready. You can collect it whenever we are open.\n" * 10


def letter(_due: Due, _channel: str, _now: datetime) -> Letter:
    """A letter of usual size."""
    return Letter("ada@example.org", "Your repair 4711-3: ready", TEXT, f"<p>{TEXT}</p>", "Shop <shop@example.com>")


@contextmanager
def database() -> Iterator[Engine]:
    """A SQLite file as the site opens it, every commit synced."""
    with tempfile.TemporaryDirectory() as folder:
        engine = open_engine(sqlite_url(Path(folder) / "bench.db"))
        metadata.create_all(engine)
        yield engine
        engine.dispose()


def fill(engine: Engine, name: str, count: int) -> None:
    """Put so many messages."""
    with writing(engine) as connection:
        for place in range(count):
            outbox.put(connection, Message("noted", f"{name} {place}", "OWNER", "TICKET"), NOW)


def office(engine: Engine, channel: object) -> PostOffice:
    """A post office with one channel."""
    return PostOffice(lambda: writing(engine), FixedClock(NOW), letter, {"mail": channel}, Random(1))  # type: ignore[dict-item]


def seconds(deed: Callable[[], object]) -> float:
    """How long a deed takes."""
    begun = time.perf_counter()
    deed()
    return time.perf_counter() - begun


def against_bare_smtplib(count: int, rounds: int) -> float:
    """Messages a second through the outbox, as a share of what bare smtplib makes."""
    shares = []
    with serving() as peer, database() as engine:
        sending = office(engine, SmtpChannel(SmtpServer(peer.host, peer.port), "example.com"))
        for each in range(rounds):
            fill(engine, f"round {each}", count)
            through_outbox = count / seconds(lambda: send_due(sending))
            bare = count / seconds(lambda: send_bare(peer.host, peer.port, count))
            shares.append(through_outbox / bare)
            say(f"  outbox {through_outbox:6.0f}/s   bare smtplib {bare:6.0f}/s   ratio {shares[-1]:.2f}")
        assert len(peer.got) == 2 * count * rounds
    return statistics.median(shares)


def send_bare(host: str, port: int, count: int) -> None:
    """The same letters over one connection, with nothing kept."""
    due = Due(1, "noted", "cause", "OWNER", "TICKET", ({},), NOW, "id")
    with smtplib.SMTP(host, port) as client:
        for place in range(count):
            message = mail(letter(due, "mail", NOW), f"id{place}", "example.com", NOW)
            client.sendmail("shop@example.com", ["ada@example.org"], message.as_bytes())


def with_a_long_past(due: int, rounds: int) -> float:
    """The time of a sweep with a long past, as a multiple of one with an empty past; both in turn."""
    with database() as young, database() as old:
        remember(old)
        times: dict[str, list[float]] = {"empty": [], "long": []}
        for each in range(rounds):
            for name, engine in (("empty", young), ("long", old)):
                fill(engine, f"due {each}", due)
                sending = office(engine, ScriptedChannel())
                times[name].append(seconds(lambda sending=sending: send_due(sending)))
        empty, long = (statistics.median(times[name]) for name in ("empty", "long"))
        say(f"  empty past {empty * 1000:.1f} ms   {PAST:,} sent {long * 1000:.1f} ms   ratio {long / empty:.2f}")
    return long / empty


def remember(engine: Engine) -> None:
    """Write 200,000 messages sent in the years before."""
    sent = {"event": "noted", "recipient": "OWNER", "channels": ["mail"], "facts": {}, "state": "sent", "outcome": ""}
    for start in range(0, PAST, 20_000):
        rows = []
        for place in range(start, start + 20_000):
            at = NOW - timedelta(days=800) + timedelta(minutes=5 * place)
            when = dict.fromkeys(("not_before", "made_at", "due_at", "settled_at"), at)
            more = {"cause": f"past {place}", "reference": f"R{place // 8}", "expires_at": at + timedelta(days=4)}
            rows.append(sent | when | more | {"message_id": f"{place:032}"})
        with writing(engine) as connection:
            connection.execute(insert(table), rows)


def say(line: str) -> None:
    """Print a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    """Measure both and print the medians."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--messages", type=int, default=200)
    options.add_argument("--rounds", type=int, default=5)
    chosen = options.parse_args()
    say("Outbox to a local SMTP server, and bare smtplib on one connection:")
    share = against_bare_smtplib(chosen.messages, chosen.rounds)
    say("A sweep with ten due:")
    multiple = with_a_long_past(10, 4 * chosen.rounds)
    say(f"median: {share:.2f} of bare smtplib (aim at least 0.5); {multiple:.2f} x an empty past (aim at most 1.5)")


if __name__ == "__main__":
    main()

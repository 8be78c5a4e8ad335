"""The site as it is really run: processes on one socket, one clock beside them, and an end without orphans."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType

import pytest

from portal.settings import PREFIX

pytestmark = pytest.mark.slow
PATIENCE = 120.0  # a limit against hanging for ever, not a speed that is promised


class Site:
    """`benchwindow serve` in a process of its own."""

    def __init__(self, folder: Path, *options: str, settings: Mapping[str, str] = MappingProxyType({})) -> None:
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        environment = {name: value for name, value in os.environ.items() if not name.startswith(PREFIX)}
        environment |= {PREFIX + name: value for name, value in settings.items()}
        self.process = subprocess.Popen(
            [sys.executable, "-m", "portal", "--data", str(folder), "serve", "--port", str(self.port), *options],
            env=environment,
            stderr=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
        )

    def children(self) -> dict[int, str]:
        """The processes it started: id and command line."""
        found = {}
        for status in Path("/proc").glob("[0-9]*/stat"):
            try:
                parent = int(status.read_text().rpartition(")")[2].split()[1])
                words = (status.parent / "cmdline").read_bytes().replace(b"\0", b" ").decode()
            except OSError:
                continue  # it ended meanwhile
            if parent == self.process.pid and words:
                found[int(status.parent.name)] = words
        return found

    def workers(self) -> set[int]:
        return {pid for pid, words in self.children().items() if "portal.serving" in words}

    def clocks(self) -> set[int]:
        return {pid for pid, words in self.children().items() if words.rstrip().endswith("clock")}

    def health(self) -> dict[str, str]:
        return json.load(urllib.request.urlopen(f"http://127.0.0.1:{self.port}/health", timeout=10))

    def answers(self) -> bool:
        try:
            self.health()
        except OSError:
            return False
        return True


def wait_until(true: Callable[[], object], what: str) -> None:
    """Look again and again until it is true; give up, failing, after a long while."""
    until = time.monotonic() + PATIENCE
    while not true():
        assert time.monotonic() < until, f"waited in vain until {what}"
        time.sleep(0.05)


def is_alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty shop."""
    made = tmp_path_factory.mktemp("shop")
    subprocess.run([sys.executable, "-m", "portal", "--data", str(made), "init"], check=True, capture_output=True)
    return made


@pytest.fixture(scope="module")
def serve(folder: Path) -> Iterator[Callable[..., Site]]:
    """Starts the site and waits until it answers."""
    started: list[Site] = []

    def start(*options: str) -> Site:
        site = Site(folder, *options)
        started.append(site)
        wait_until(site.answers, "the site answers")
        return site

    yield start
    for site in started:
        site.process.terminate()
        site.process.wait(PATIENCE)


@pytest.fixture(scope="module")
def site(serve: Callable[..., Site]) -> Site:
    """A site with two workers that most tests look at; starting one takes seconds."""
    site = serve("--workers", "2")
    wait_until(lambda: len(site.workers()) == 2 and len(site.clocks()) == 1, "two workers and one clock run")
    return site


def test_so_many_workers_as_asked_for_and_exactly_one_clock(site: Site) -> None:
    wait_until(lambda: site.health()["clock"] == "alive", "the clock is alive")

    assert (len(site.workers()), len(site.clocks())) == (2, 1)


@pytest.mark.parametrize("who", ["workers", "clocks"])
def test_a_process_that_dies_is_started_again(site: Site, who: str) -> None:
    wait_until(lambda: len(site.workers()) == 2 and len(site.clocks()) == 1, "two workers and one clock run")
    before = getattr(site, who)()

    os.kill(min(before), signal.SIGKILL)

    wait_until(lambda: len(getattr(site, who)()) == len(before) and getattr(site, who)() != before, "another runs")
    assert site.answers()


def test_the_site_keeps_answering_with_two_hundred_stalled_visitors(site: Site) -> None:
    half = (b"", b"GET / HT", b"POST /login HTTP/1.1\r\nHost: x\r\nContent-Length: 9\r\n\r\na=")
    stalled = []
    try:
        for place in range(200):
            visitor = socket.create_connection(("127.0.0.1", site.port))
            stalled.append(visitor)
            visitor.sendall(half[place % 3])

        assert site.health()["database"] == "ok"
    finally:
        for visitor in stalled:
            visitor.close()


@pytest.mark.parametrize(("sign", "options"), [(signal.SIGTERM, ()), (signal.SIGINT, ("--no-clock",))])
def test_a_stopped_site_leaves_no_process_behind_and_frees_its_port(
    serve: Callable[..., Site], sign: signal.Signals, options: tuple[str, ...]
) -> None:
    site = serve(*options)
    family = set(site.children())
    assert len(family) == (1 if options else 2)

    site.process.send_signal(sign)

    assert site.process.wait(PATIENCE) == 0
    assert [pid for pid in family if is_alive(pid)] == []
    with socket.socket() as again:
        again.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        again.bind(("127.0.0.1", site.port))


def test_a_site_that_is_killed_takes_its_processes_along(serve: Callable[..., Site]) -> None:
    site = serve()
    family = set(site.children())
    assert len(family) == 2

    site.process.kill()

    wait_until(lambda: not any(is_alive(pid) for pid in family), "all have ended")


def test_a_port_that_is_taken_is_said_in_a_line(folder: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        said = subprocess.run(
            [sys.executable, "-m", "portal", "--data", str(folder), "serve", "--port", port],
            capture_output=True,
            text=True,
            check=False,
        )

    assert said.returncode == 1
    assert f"Cannot listen on 127.0.0.1:{port}" in said.stderr

"""Serving the site: several waitress processes on one listening socket, and exactly one clock beside them.

waitress kept answering with stalled clients where other servers did not; its default of 100 connections would lock
everybody out at 130 of them, so the limit is raised. A child that dies is started again; a SIGTERM ends them all, and
where the parent itself is killed, Linux ends its children.
"""

from __future__ import annotations

import argparse
import ctypes
import logging
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

import waitress

from portal import logs
from portal.main import open_installation

log = logging.getLogger(__name__)

CONNECTIONS = 2000
THREADS = 32  # more than photos may wait for their turn, so that pages never wait behind them
GRACE_SECONDS = 10.0
_LOOK_EVERY = 0.2
_ON_PARENTS_DEATH = 1
_QUICK_DEATH = 2.0  # a child that lived shorter is not started again at once


@dataclass
class Child:
    """One process beside us, and how to start it again."""

    name: str
    start: Callable[[], subprocess.Popen[bytes]]
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0

    def keep_alive(self, now: float) -> None:
        """Start it, or start it again; one that died quickly waits a moment."""
        if self.process and self.process.poll() is None:
            return
        if self.process:
            if now - self.started < _QUICK_DEATH:
                return
            log.warning("The %s ended with status %s; it is started again.", self.name, self.process.returncode)
        self.process, self.started = self.start(), now


@dataclass
class Family:
    """All the processes of a site."""

    children: list[Child]
    stopping: bool = field(default=False)

    def run(self) -> None:
        """Keep all children alive until somebody says stop."""
        for sign in (signal.SIGTERM, signal.SIGINT):
            signal.signal(sign, self._stop)
        try:
            while not self.stopping:
                for child in self.children:
                    child.keep_alive(time.monotonic())
                time.sleep(_LOOK_EVERY)
        finally:
            self._end_all()

    def _stop(self, _sign: int, _frame: FrameType | None) -> None:
        self.stopping = True

    def _end_all(self) -> None:
        alive = [child.process for child in self.children if child.process and child.process.poll() is None]
        for process in alive:
            process.terminate()
        deadline = time.monotonic() + GRACE_SECONDS
        for process in alive:
            try:
                process.wait(max(0.1, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def listen(host: str, port: int) -> socket.socket:
    """The one socket that all workers answer on. Raises OSError with words where the address is taken."""
    try:
        return socket.create_server((host, port), backlog=1024, family=_family(host))
    except OSError as fault:
        raise OSError(f"Cannot listen on {host}:{port}: {fault.strerror}. Choose another with --port.") from None


def serve(data: Path, listening: socket.socket, workers: int, *, with_clock: bool) -> None:
    """Serve until a SIGTERM or Ctrl-C. The database is brought up to date here, once, before any worker starts."""
    open_installation(data).engine.dispose()
    children = [Child(f"worker {place + 1}", lambda: _start_worker(data, listening)) for place in range(workers)]
    if with_clock:
        children.append(Child("clock", lambda: _start_clock(data)))
    Family(children).run()


def _start_worker(data: Path, listening: socket.socket) -> subprocess.Popen[bytes]:
    number = listening.fileno()
    command = [sys.executable, "-m", "portal.serving", "--data", str(data), "--socket", str(number)]
    return subprocess.Popen(command, pass_fds=[number], preexec_fn=_end_with_parent)  # noqa: S603 (our own)


def _start_clock(data: Path) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "portal", "--data", str(data), "clock"]
    return subprocess.Popen(command, preexec_fn=_end_with_parent)  # noqa: S603 (our own)


def _end_with_parent() -> None:
    """Ask for a SIGTERM when the parent ends, however it ends (prctl(2), PR_SET_PDEATHSIG)."""
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(_ON_PARENTS_DEATH, int(signal.SIGTERM))


def _family(host: str) -> socket.AddressFamily:
    return socket.AF_INET6 if ":" in host else socket.AF_INET


def work(arguments: Sequence[str] | None = None) -> None:
    """One worker process: answers on the socket it was handed, until a SIGTERM."""
    from portal.web.app import create_app  # only here: the parent and the commands need no pages

    parser = argparse.ArgumentParser()
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--socket", type=int, required=True)
    options = parser.parse_args(arguments)
    logs.to_stderr()
    signal.signal(signal.SIGTERM, _leave)
    signal.signal(signal.SIGINT, _leave)
    app = create_app(open_installation(options.data))
    server = waitress.create_server(
        app,
        sockets=[socket.socket(fileno=options.socket)],
        threads=THREADS,
        connection_limit=CONNECTIONS,
        channel_timeout=60,
        ident=None,
        clear_untrusted_proxy_headers=False,  # the site believes an exact number of proxies, by its own setting
    )
    server.run()


def _leave(_sign: int, _frame: FrameType | None) -> None:
    raise SystemExit(0)


if __name__ == "__main__":
    work()

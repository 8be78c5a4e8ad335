"""A plain load: sites in processes of their own, asked over kept connections, in short turns that share the noise."""

from __future__ import annotations

import logging
import os
import socket
import statistics
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection as Pipe
from pathlib import Path
from typing import Any

CONNECTIONS = 4
TURN_SECONDS = 0.7
TURNS = 9
_PROCESSES = get_context("spawn")


@dataclass(frozen=True)
class Server:
    """A process that serves a site on this machine."""

    port: int
    pid: int

    def cpu_seconds(self) -> float:
        """How long it has been at work on a core, its threads together (Linux)."""
        fields = Path(f"/proc/{self.pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@contextmanager
def served(make_site: Callable[..., Any], *arguments: object) -> Iterator[Server]:
    """The WSGI site that `make_site(*arguments)` makes, served by waitress in a new process."""
    ours, theirs = _PROCESSES.Pipe()
    process = _PROCESSES.Process(target=_serve, args=(theirs, make_site, arguments), daemon=True)
    process.start()
    yield Server(ours.recv(), process.pid or 0)
    process.terminate()
    process.join()


def _serve(pipe: Pipe, make_site: Callable[..., Any], arguments: tuple[object, ...]) -> None:
    import waitress

    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a queue is what is wanted here
    server = waitress.create_server(make_site(*arguments), host="127.0.0.1", port=0, threads=CONNECTIONS)
    pipe.send(server.effective_port)
    server.run()


def rates(asked: Mapping[str, tuple[Server, bytes, bytes]]) -> dict[str, float]:
    """Answers a second of a core's work by name, the median of turns taken one after the other.

    By the server's own time, so that whatever else the machine does is not counted. `asked` gives the server, the
    request as bytes, and how the answer must begin.
    """
    taken: dict[str, list[float]] = {name: [] for name in asked}
    for turn in range(TURNS + 1):
        for name, (server, request, begins) in asked.items():
            rate = _rate(server, request, begins)
            if turn:  # the first turn warms up
                taken[name].append(rate)
    return {name: statistics.median(turns) for name, turns in taken.items()}


def get(path: str, headers: str = "") -> bytes:
    """A request as bytes."""
    return f"GET {path} HTTP/1.1\r\nHost: bench.test\r\n{headers}\r\n".encode()


def _rate(server: Server, request: bytes, begins: bytes) -> float:
    counts: list[int] = []
    started, until = server.cpu_seconds(), time.perf_counter() + TURN_SECONDS
    threads = [
        threading.Thread(target=lambda: counts.append(_ask_until(until, server.port, request, begins)))
        for _connection in range(CONNECTIONS)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if len(counts) < CONNECTIONS:
        raise RuntimeError("A connection was answered otherwise than expected.")
    return sum(counts) / (server.cpu_seconds() - started)


def _ask_until(until: float, port: int, request: bytes, begins: bytes) -> int:
    count, connection = 0, None
    while time.perf_counter() < until:
        connection = connection or socket.create_connection(("127.0.0.1", port))
        connection.sendall(request)
        answer = _whole_answer(connection)
        if not answer.startswith(begins):
            raise RuntimeError(f"Expected {begins!r}, got {answer[:200]!r}.")
        count += 1
        if b"\r\nConnection: close\r\n" in answer:
            connection.close()
            connection = None
    if connection:
        connection.close()
    return count


def _whole_answer(connection: socket.socket) -> bytes:
    answer = b""
    while b"\r\n\r\n" not in answer:
        answer += _more(connection)
    head, _, body = answer.partition(b"\r\n\r\n")
    length = 0
    if not head.startswith(b"HTTP/1.1 304"):
        length = int(head.lower().partition(b"content-length:")[2].split(b"\r\n")[0])
    while len(body) < length:
        body += _more(connection)
    return head + b"\r\n\r\n" + body


def _more(connection: socket.socket) -> bytes:
    part = connection.recv(65536)
    if not part:
        raise RuntimeError("The server hung up.")
    return part

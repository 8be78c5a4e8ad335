"""An S3-speaking server of our own on this machine, spoken to over HTTP like any other."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

BUCKET = "shop-photos"


@dataclass(frozen=True)
class Peer:
    """The server; `environment` is what an installation needs to speak to it."""

    port: int

    @property
    def environment(self) -> dict[str, str]:
        """The settings of S3 clients everywhere."""
        return {
            "AWS_ENDPOINT_URL": f"http://127.0.0.1:{self.port}",
            "AWS_ACCESS_KEY_ID": "bench",
            "AWS_SECRET_ACCESS_KEY": "window",
            "AWS_DEFAULT_REGION": "us-east-1",
            "AWS_EC2_METADATA_DISABLED": "true",
        }

    def ask(self, method: str, path: str) -> bytes:
        """A plain request, past our own code."""
        request = urllib.request.Request(f"http://127.0.0.1:{self.port}{path}", method=method)
        with urllib.request.urlopen(request, timeout=30) as answer:
            return answer.read()

    def empty(self) -> None:
        """No bucket but an empty one."""
        self.ask("POST", "/moto-api/reset")
        self.ask("PUT", f"/{BUCKET}")


@contextmanager
def serving() -> Iterator[Peer]:
    """Start it, and end it."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "moto.server", "-H", "127.0.0.1", "-p", str(port)]
    with subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=dict(os.environ)
    ) as server:
        try:
            _wait_for(port)
            yield Peer(port)
        finally:
            server.terminate()


def _wait_for(port: int) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until:
        try:
            socket.create_connection(("127.0.0.1", port)).close()
        except OSError:
            time.sleep(0.1)
        else:
            return
    raise RuntimeError("The S3 server did not start.")

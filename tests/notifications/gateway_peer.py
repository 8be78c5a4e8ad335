"""A real HTTP gateway in a thread, which answers each request as a test tells it to."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

DROP = "drop"  # hang up without an answer, with the text in hand
HANG = "hang"  # never answer


@dataclass
class Gateway:
    """What came, as (path, text), and what is answered, one after the other: a status, DROP or HANG; then 200."""

    says: list[int | str] = field(default_factory=list)
    got: list[tuple[str, str]] = field(default_factory=list)
    port: int = 0
    closing: threading.Event = field(default_factory=threading.Event)

    def url(self, more: str = "") -> str:
        """Its address as the setting has it; it waits for half a second at most."""
        return f"json://127.0.0.1:{self.port}/send/{{to}}?cto=0.5&rto=0.5{more}"

    @property
    def numbers(self) -> list[str]:
        """The numbers that texts came for."""
        return [path.rpartition("/")[2] for path, _text in self.got]


@contextmanager
def serving() -> Iterator[Gateway]:
    """A gateway that runs until the block ends."""
    gateway = Gateway()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            gateway.got.append((self.path.partition("?")[0], body["message"]))
            answer = gateway.says.pop(0) if gateway.says else 200
            if answer == HANG:
                gateway.closing.wait()
            elif answer != DROP:
                self.send_response(int(answer))
                self.end_headers()
                self.wfile.write(b'{"said": "error=200, call +447700900123"}')

        def log_message(self, *_said: object) -> None:
            """Nothing is printed."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    gateway.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield gateway
    finally:
        gateway.closing.set()
        server.shutdown()
        server.server_close()
        thread.join()

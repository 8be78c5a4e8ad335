"""A line between the browser and the site that breaks when a test says so, as a phone's does."""

from __future__ import annotations

import contextlib
import socket
import threading

_CHUNK = 8192
_UPLOAD = 30_000  # bytes before an answer that no page's own request has


class Line:
    """Forwards to a port of this machine. `uploaded` counts the bytes of requests that were uploads."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._cut_after = 0
        self._loses_answer = False
        self._is_up = True
        self._open: list[socket.socket] = []
        self.breaks = 0
        self.uploaded = 0
        self._listener = socket.create_server(("127.0.0.1", 0))
        threading.Thread(target=self._listen, daemon=True).start()

    @property
    def address(self) -> str:
        """Where the browser finds the site."""
        return f"http://127.0.0.1:{self._listener.getsockname()[1]}"

    def cut_an_upload(self, after: int) -> None:
        """The next request breaks off once so many bytes of it went through."""
        self._cut_after = after

    def lose_an_answer(self) -> None:
        """The next upload arrives, and its answer does not."""
        self._loses_answer = True

    def cut(self) -> None:
        """No line at all, from now on."""
        self._is_up = False
        for each in self._open:
            _hang_up(each)

    def mend(self) -> None:
        """There is a line again."""
        self._is_up = True

    def close(self) -> None:
        """Be no more."""
        self._listener.close()
        self.cut()

    def _listen(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                browser, _address = self._listener.accept()
                if self._is_up:
                    self._connect(browser)
                else:
                    browser.close()

    def _connect(self, browser: socket.socket) -> None:
        site = socket.create_connection(("127.0.0.1", self._port))
        self._open += [browser, site]
        call = _Call(self, browser, site)
        threading.Thread(target=call.ask, daemon=True).start()
        threading.Thread(target=call.answer, daemon=True).start()

    def breaks_at(self, sent: int) -> bool:
        """Whether a request breaks here."""
        if not 0 < self._cut_after < sent:
            return False
        self._cut_after = 0
        self.breaks += 1
        return True

    def loses(self, sent: int) -> bool:
        """Whether the answer to a request of this many bytes is lost."""
        if sent < _UPLOAD or not self._loses_answer:
            return False
        self._loses_answer = False
        self.breaks += 1
        return True


class _Call:
    """One connection: what is asked, and what is answered."""

    def __init__(self, line: Line, browser: socket.socket, site: socket.socket) -> None:
        self._line, self._browser, self._site = line, browser, site
        self._sent = 0

    def ask(self) -> None:
        with contextlib.suppress(OSError):
            while data := self._browser.recv(_CHUNK):
                self._sent += len(data)
                if self._line.breaks_at(self._sent):
                    break
                self._site.sendall(data)
        self._hang_up()

    def answer(self) -> None:
        with contextlib.suppress(OSError):
            while data := self._site.recv(_CHUNK):
                if self._line.loses(self._sent):
                    break
                if self._sent >= _UPLOAD:
                    self._line.uploaded += self._sent
                self._sent = 0
                self._browser.sendall(data)
        self._hang_up()

    def _hang_up(self) -> None:
        _hang_up(self._browser)
        _hang_up(self._site)


def _hang_up(line: socket.socket) -> None:
    with contextlib.suppress(OSError):
        line.shutdown(socket.SHUT_RDWR)
    line.close()

"""A phone that talks to a real site over HTTP: logs in and sends photos by the page's own form, as a browser would."""

from __future__ import annotations

import http.client
from urllib.parse import urlencode

from tests.web.browser import PASSWORD, hidden, hidden_fields

_EDGE = b"--edge"


class Phone:
    """A browser, as far as it takes to send photos."""

    def __init__(self, port: int, cookies: dict[str, str] | None = None) -> None:
        self.cookies = cookies or {}
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)

    def log_in(self, name: str) -> None:
        """As somebody of the staff."""
        token = hidden(self.ask("GET", "/login")[1], "csrf_token")
        form = urlencode({"csrf_token": token, "name": name, "password": PASSWORD})
        status, words = self.ask("POST", "/login", form.encode(), "application/x-www-form-urlencoded")
        assert status == 303, words

    def send(self, number: str, *photos: bytes) -> int:
        """Photos in one form; the status of the answer."""
        return self.ask("POST", f"/bench/{number}/photos", self.form(number, *photos), FORM)[0]

    def form(self, number: str, *photos: bytes) -> bytes:
        """The body that the page's form makes of these photos."""
        at = f"/bench/{number}/photos"
        fields = hidden_fields(self.ask("GET", at)[1], at)
        fields |= {"moment": "before", "audience": "customer", "use_anyway": "1"}
        parts = [_part(f'name="{name}"', value.encode()) for name, value in fields.items()]
        parts += [_part('name="photo"; filename="IMG_0001.HEIC"', photo) for photo in photos]
        return b"".join(parts) + _EDGE + b"--\r\n"

    def ask(self, method: str, path: str, body: bytes = b"", form: str = "") -> tuple[int, str]:
        """Send a request; the status and the page."""
        self._connection.request(method, path, body, self.headers(form))
        answer = self._connection.getresponse()
        words = answer.read().decode()
        for line in answer.headers.get_all("Set-Cookie") or ():
            name, _, value = line.split(";")[0].partition("=")
            self.cookies[name] = value
        return answer.status, words

    def close(self) -> None:
        """Hang up."""
        self._connection.close()

    def headers(self, form: str = "") -> dict[str, str]:
        """What goes before a body of this kind."""
        cookies = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        return {"Cookie": cookies, "Content-Type": form}


FORM = "multipart/form-data; boundary=edge"


def _part(disposition: str, content: bytes) -> bytes:
    return _EDGE + f"\r\nContent-Disposition: form-data; {disposition}\r\n\r\n".encode() + content + b"\r\n"

"""A test client that uses the site's forms as a browser does: it opens the page and sends the hidden fields back."""

from __future__ import annotations

import html
import re
from typing import Any

from flask.testing import FlaskClient
from werkzeug.test import TestResponse

PASSWORD = "violet anvil fjord marmalade"  # everybody's, in the tests
_INPUT = re.compile(r"<input\b[^>]*>")
_ATTRIBUTE = re.compile(r'([a-z-]+)="([^"]*)"')


class Browser(FlaskClient):
    """A browser with one cookie jar, which reads each answer to its end."""

    def open(self, *arguments: Any, buffered: bool = True, **options: Any) -> TestResponse:
        """Send a request."""
        return super().open(*arguments, buffered=buffered, **options)

    def log_in(self, name: str, password: str = PASSWORD, **fields: object) -> TestResponse:
        """Log in by the form."""
        return self.send("/login", on="/login", name=name, password=password, **fields)

    def send(self, path: str, *, on: str, headers: dict[str, str] | None = None, **fields: object) -> TestResponse:
        """Post fields to `path` with the session's token, taken from a form on the page `on`."""
        return self.post(path, data={"csrf_token": self.token(on), **fields}, headers=headers)

    def token(self, page: str) -> str:
        """The session's token in the first form of a page."""
        return hidden(self.get(page).text, "csrf_token")


def hidden(page: str, name: str) -> str:
    """The value of a page's first hidden field of this name."""
    for tag in _INPUT.findall(page):
        attributes = {key: html.unescape(value) for key, value in _ATTRIBUTE.findall(tag)}
        if attributes.get("type") == "hidden" and attributes.get("name") == name:
            return attributes.get("value", "")
    raise AssertionError(f"no hidden field {name!r} on the page")


def hidden_fields(page: str, action: str) -> dict[str, str]:
    """The hidden fields of the form that posts to `action`."""
    form = re.search(rf'<form[^>]*action="{re.escape(html.escape(action))}".*?</form>', page, re.DOTALL)
    assert form, f"no form to {action} on the page"
    tags = [dict(_ATTRIBUTE.findall(tag)) for tag in _INPUT.findall(form[0])]
    return {tag["name"]: html.unescape(tag.get("value", "")) for tag in tags if tag.get("type") == "hidden"}

"""A thumb on a phone, which counts what it does."""

from __future__ import annotations

import re
from email.message import EmailMessage
from urllib.parse import urlsplit

from playwright.sync_api import Locator, Page


class Hand:
    """Counts taps and typed fields. A field is tapped before it is typed in; a link in a message is one tap."""

    def __init__(self, page: Page) -> None:
        self.page, self.taps, self.typed = page, 0, 0

    def follow(self, mail: EmailMessage) -> None:
        """Open the first link of a message."""
        body = mail.get_body(("plain",))
        assert body is not None
        found = re.search(r"http://\S+", str(body.get_content()))
        assert found is not None
        self.taps += 1
        self.page.goto(urlsplit(found[0]).path)

    def tap(self, where: Locator) -> None:
        """Tap once."""
        self.taps += 1
        where.click()

    def type(self, where: Locator, text: str) -> None:
        """Tap into a field and type."""
        self.tap(where)
        self.typed += 1
        self.page.keyboard.type(text)

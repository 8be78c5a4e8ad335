"""One text by one Apprise address, and what became of it.

Apprise answers only whether it worked. What the other side said, and how far a request came, it tells its log, which is
read here and goes nowhere else, since numbers stand in it. What it does not tell for certain counts as unknown.
"""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from contextlib import contextmanager

from notifications.channels import Hopeless, LineBroke, TryLater

_STATUS = re.compile(r"error=(\d{3})\b")
# Faults of a request that never reached the other side, by the names that requests and urllib3 give them.
_NEVER_LEFT = re.compile(
    r"NewConnectionError|Failed to establish a new connection|NameResolutionError|ConnectTimeout|connect timeout|"
    r"CERTIFICATE_VERIFY_FAILED|certificate verify failed|WRONG_VERSION_NUMBER"
)
_REFUSED_FOR_NOW = {401, 402, 403, 407, 408, 425, 429, 500, 503}  # the shop's account, or the moment, not the number


class _Ear(logging.Handler):
    """Keeps what is said, for as long as one text takes."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.statuses: list[int] = []
        self.never_left = False

    def emit(self, record: logging.LogRecord) -> None:
        """Keep what a line tells. Statuses stand in warnings only: the other side's own words are logged below them."""
        told = record.getMessage()
        if record.levelno >= logging.WARNING:
            self.statuses += [int(status) for status in _STATUS.findall(told)]
        elif told.startswith("Socket Exception") and _NEVER_LEFT.search(told):
            self.never_left = True


def can_read(url: str) -> bool:
    """Whether Apprise knows what the address means."""
    import apprise  # only here: of an extra, and slow to import

    with _listening():
        return apprise.Apprise.instantiate(url) is not None


def send(url: str, text: str) -> None:
    """Send a text. Raises TryLater, Hopeless, or LineBroke where it may have arrived."""
    import apprise

    with _listening() as ear:
        made = apprise.Apprise.instantiate(url)
        if made is None:
            raise TryLater("the gateway’s address cannot be read")
        if made.notify(body=text, body_format=apprise.NotifyFormat.TEXT):
            return
    raise _what_happened(ear)


def _what_happened(ear: _Ear) -> TryLater | Hopeless | LineBroke:
    if not ear.statuses:
        if ear.never_left:
            return TryLater("the gateway cannot be reached")
        return LineBroke("the gateway gave no answer")
    status = ear.statuses[-1]
    if status in _REFUSED_FOR_NOW:
        return TryLater(f"the gateway answered {status}")
    if 400 <= status < 500:
        return Hopeless(f"the gateway answered {status}")
    return LineBroke(f"the gateway answered {status}")  # as 502 and 504 do: somebody in between, who does not know


@contextmanager
def _listening() -> Iterator[_Ear]:
    """Hear what is logged on the way, and keep it out of every other log."""
    ear = _Ear()
    loggers = [logging.getLogger(name) for name in ("apprise", "urllib3")]
    before = [(logger.level, logger.propagate) for logger in loggers]
    for logger in loggers:
        logger.addHandler(ear)
        logger.setLevel(logging.DEBUG)
        logger.propagate = False
    try:
        yield ear
    finally:
        for logger, (level, propagate) in zip(loggers, before, strict=True):
            logger.removeHandler(ear)
            logger.setLevel(level)
            logger.propagate = propagate

"""Addresses as a printed code carries them: in capitals, since those fit a QR code's compact alphanumeric mode."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

_ROOMS = ("/t/", "/bench/")  # the first parts of the addresses that are printed


class CapitalsAllowed:
    """Reads an address of a printed code in small letters, wherever its case differs from that of our routes."""

    def __init__(self, site: Any) -> None:
        self._site = site

    def __call__(self, environment: dict[str, Any], start_response: Any, /) -> Iterable[bytes]:
        """Answer as the site does."""
        path = environment.get("PATH_INFO", "")
        small = path.lower()
        if small != path and small.startswith(_ROOMS) and not path.startswith(_ROOMS):
            environment["PATH_INFO"] = small
        result: Iterable[bytes] = self._site(environment, start_response)
        return result

"""Which push services may be written to. An endpoint is an address that a stranger gives us, so it is never trusted.

Its name must stand on a list, and what the name leads to must lie outside: neither this machine nor its network. Both
are asked each time, since names are pointed elsewhere and rows of a database are not beyond doubt.
"""

from __future__ import annotations

import ipaddress
import re
import socket
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import SplitResult, urlsplit

LONGEST = 1000  # characters of an endpoint
_PLAIN = re.compile(r"[!-\[\]-~]+")  # printable ASCII without space and backslash, which readers take differently
_NAME = re.compile(r"(\*\.)?([a-z0-9-]+\.)+[a-z0-9-]*[a-z][a-z0-9-]*")
_THIS_MACHINE = ("127.0.0.1", "localhost", "::1")
_PORTS = {"https": 443, "http": 80}


@dataclass(frozen=True)
class Hosts:
    """The list: `names` of hosts, `*.` for any below; `here` are origins on this machine, for a service run there."""

    names: Sequence[str]
    here: Sequence[str] = ()

    def allow(self, endpoint: str) -> bool:
        """Whether an endpoint's name is on the list: https on its usual port, nothing hidden in it."""
        parts = _split(endpoint)
        if parts is None:
            return False
        if origin(endpoint) in self.here:
            return True
        host, named = parts.hostname or "", parts.netloc.lower()
        if parts.scheme != "https" or named not in (host, f"{host}:443"):
            return False
        return any(host == name or (name.startswith("*.") and host.endswith(name[1:])) for name in self.names)

    def reach(self, endpoint: str) -> list[tuple[str, int]]:
        """The network addresses and port of an allowed endpoint; none where its name leads inside only.

        Raises OSError where the name is not known.
        """
        parts = urlsplit(endpoint)
        host, port = parts.hostname or "", parts.port or _PORTS[parts.scheme]
        found = [str(each[4][0]) for each in socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)]
        if origin(endpoint) not in self.here:
            found = [address for address in found if _is_outside(address)]
        return [(address, port) for address in dict.fromkeys(found)]


def read_hosts(text: str) -> Hosts:
    """The list as it is set, with spaces between. Raises ValueError for what is neither a name nor on this machine."""
    names, here = [], []
    for each in text.lower().split():
        if _NAME.fullmatch(each):
            names.append(each)
        elif (parts := _split(each)) and parts.hostname in _THIS_MACHINE and origin(each) == each:
            here.append(each)
        else:
            raise ValueError("names like push.example.org or *.push.example.org, with spaces between them")
    return Hosts(names, here)


def origin(endpoint: str) -> str:
    """Where an endpoint lies, without its path: what a token for it is made out to."""
    parts = urlsplit(endpoint)
    return f"{parts.scheme}://{parts.netloc.lower().removesuffix(':443')}"


def _split(endpoint: str) -> SplitResult | None:
    if len(endpoint) > LONGEST or not _PLAIN.fullmatch(endpoint):
        return None
    try:
        parts = urlsplit(endpoint)
        fits = parts.scheme in _PORTS and bool(parts.hostname) and parts.port != 0 and not parts.fragment
    except ValueError:
        return None
    return parts if fits and "@" not in parts.netloc else None


def _is_outside(address: str) -> bool:
    found = ipaddress.ip_address(address.partition("%")[0])
    if isinstance(found, ipaddress.IPv6Address):
        found = found.ipv4_mapped or found.sixtofour or found
    return found.is_global and not found.is_multicast

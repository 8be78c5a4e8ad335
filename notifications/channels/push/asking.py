"""One request to a push service: to addresses that were looked at, no redirect followed, its answer bounded."""

from __future__ import annotations

import re
import socket
import ssl
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from urllib.parse import urlsplit

from notifications.channels import LineBroke, TryLater

SECONDS = 15.0  # for everything, however slowly the other side speaks
MOST_BYTES = 16 * 1024  # of an answer's head; what comes after it is not read
_STATUS = re.compile(rb"HTTP/1\.[01] (\d{3})\b")
_RETRY_AFTER = re.compile(rb"^retry-after:[ \t]*([^\r\n]*?)[ \t]*\r?$", re.IGNORECASE | re.MULTILINE)


@dataclass(frozen=True)
class Answered:
    """What a push service answered, and how long it asks us to wait."""

    status: int
    wait: timedelta


def post(
    endpoint: str,
    addresses: Sequence[tuple[str, int]],
    headers: Mapping[str, str],
    body: bytes,
    now: datetime,
    seconds: float = SECONDS,
) -> Answered:
    """Hand a notice over. Raises TryLater where it never left, LineBroke where nobody knows."""
    deadline = time.monotonic() + seconds
    parts = urlsplit(endpoint)
    try:
        line = _connect(parts.hostname or "", addresses, parts.scheme == "https", deadline)
    except ssl.SSLError as fault:
        raise TryLater(f"the push service cannot be trusted: {fault.reason or type(fault).__name__}") from None
    except OSError as fault:
        raise TryLater(f"the push service cannot be reached: {fault.strerror or type(fault).__name__}") from None
    with line:
        try:
            line.sendall(_request(endpoint, headers, body))
            head = _head(line, deadline)
        except OSError:
            raise LineBroke("the push service gave no answer") from None
    status = _STATUS.match(head)
    if status is None:
        raise LineBroke("the push service gave no answer")
    return Answered(int(status[1]), _wait(head, now))


def _connect(host: str, addresses: Sequence[tuple[str, int]], secure: bool, deadline: float) -> socket.socket:
    plain = _first_that_answers(addresses, deadline)
    if not secure:
        return plain
    try:
        return ssl.create_default_context().wrap_socket(plain, server_hostname=host)
    except BaseException:
        plain.close()
        raise


def _first_that_answers(addresses: Sequence[tuple[str, int]], deadline: float) -> socket.socket:
    """A connection to one of the addresses: a machine may have no line of the kind that the first is of."""
    *others, last = addresses
    for address in others:
        try:
            return socket.create_connection(address, timeout=_left(deadline) / 2)
        except OSError:
            continue
    return socket.create_connection(last, timeout=_left(deadline))


def _request(endpoint: str, headers: Mapping[str, str], body: bytes) -> bytes:
    parts = urlsplit(endpoint)
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    all_headers = {"Host": parts.netloc, "Content-Length": str(len(body)), "Connection": "close", **headers}
    lines = [f"POST {path} HTTP/1.1", *(f"{name}: {value}" for name, value in all_headers.items()), "", ""]
    return "\r\n".join(lines).encode("ascii") + body


def _head(line: socket.socket, deadline: float) -> bytes:
    """The answer's status and headers, as far as they came. Raises OSError."""
    head = b""
    while b"\r\n\r\n" not in head and len(head) < MOST_BYTES:
        line.settimeout(_left(deadline))
        part = line.recv(4096)
        if not part:
            break
        head += part
    return head.partition(b"\r\n\r\n")[0]


def _left(deadline: float) -> float:
    left = deadline - time.monotonic()
    if left <= 0:
        raise TimeoutError
    return left


def _wait(head: bytes, now: datetime) -> timedelta:
    """How long Retry-After asks us to wait, which is seconds or a date (RFC 9110 section 10.2.3); none for nonsense."""
    found = _RETRY_AFTER.search(head)
    text = found[1].decode("ascii", "replace") if found else ""
    if text.isdecimal() and len(text) < 8:
        return timedelta(seconds=int(text))
    try:
        at = parsedate_to_datetime(text)
    except (ValueError, TypeError):
        return timedelta(0)
    return max((at if at.tzinfo else at.replace(tzinfo=UTC)) - now, timedelta(0))

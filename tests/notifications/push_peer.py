"""A real push service in a thread, and the browsers that listen by it.

It opens what it is sent with nothing but the primitives of RFC 8291 and checks the sender's token by RFC 8292, so that
no library that seals here also opens.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import ssl
import threading
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from notifications.channels.push.sealing import Device

DROP = "drop"  # hang up without an answer, with the notice in hand
HANG = "hang"  # never answer
DRIP = "drip"  # answer for ever, a byte at a time
P256 = ec.SECP256R1()


def plain(data: bytes) -> str:
    """Base64url without padding."""
    return urlsafe_b64encode(data).rstrip(b"=").decode()


def raw(text: str) -> bytes:
    """What base64url says."""
    return urlsafe_b64decode(text + "=" * (-len(text) % 4))


def point(key: ec.EllipticCurvePrivateKey) -> bytes:
    """The uncompressed public point of a key."""
    return key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


@dataclass(frozen=True)
class Listening:
    """A browser that listens: its secret halves, and the row that a shop keeps of it."""

    key: ec.EllipticCurvePrivateKey
    secret: bytes
    endpoint: str

    @property
    def device(self) -> Device:
        return Device(self.endpoint, plain(point(self.key)), plain(self.secret))

    def opened(self, body: bytes) -> bytes:
        """The plain text of a sealed body: RFC 8188 section 2 and RFC 8291 section 3.4, for one record."""
        salt, size, length = body[:16], int.from_bytes(body[16:20]), body[20]
        sender, sealed = body[21 : 21 + length], body[21 + length :]
        assert len(sealed) <= size
        shared = self.key.exchange(ec.ECDH(), ec.EllipticCurvePublicKey.from_encoded_point(P256, sender))
        secret = _hkdf(self.secret, shared, b"WebPush: info\0" + point(self.key) + sender, 32)
        key = _hkdf(salt, secret, b"Content-Encoding: aes128gcm\0", 16)
        nonce = _hkdf(salt, secret, b"Content-Encoding: nonce\0", 12)
        text, mark = AESGCM(key).decrypt(nonce, sealed, None).rstrip(b"\0").rsplit(b"\x02", 1)
        assert mark == b""
        return text


@dataclass(frozen=True)
class Pushed:
    """A request that came."""

    path: str
    headers: Mapping[str, str]
    body: bytes


@dataclass
class PushService:
    """What came, and what is answered, one after the other: a status, (status, Retry-After), DROP …; then 201."""

    says: list[Any] = field(default_factory=list)
    got: list[Pushed] = field(default_factory=list)
    port: int = 0
    scheme: str = "http"
    host: str = "127.0.0.1"
    closing: threading.Event = field(default_factory=threading.Event)

    @property
    def origin(self) -> str:
        return f"{self.scheme}://{self.host}:{self.port}"

    def browser(self, name: str = "one") -> Listening:
        """A browser that listens by this service."""
        key, secret = ec.generate_private_key(P256), hashlib.sha256(name.encode()).digest()[:16]
        return Listening(key, secret, f"{self.origin}/to/{name}")


def claims(pushed: Pushed, public_key: str, origin: str) -> dict[str, Any]:
    """What the sender's token says, once its signature is checked against the key that browsers were given."""
    scheme, _, rest = pushed.headers["Authorization"].partition(" ")
    parts = dict(part.strip().split("=", 1) for part in rest.split(","))
    assert scheme == "vapid"
    assert parts["k"] == public_key
    signed, _, signature = parts["t"].rpartition(".")
    head, body = (json.loads(raw(part)) for part in signed.split("."))
    numbers = raw(signature)
    known = ec.EllipticCurvePublicKey.from_encoded_point(P256, raw(public_key))
    in_der = encode_dss_signature(int.from_bytes(numbers[:32]), int.from_bytes(numbers[32:]))
    known.verify(in_der, signed.encode(), ec.ECDSA(SHA256()))
    assert (head["alg"], body["aud"], len(numbers)) == ("ES256", origin, 64)
    return body


@contextmanager
def serving(tls: ssl.SSLContext | None = None) -> Iterator[PushService]:
    """A push service that runs until the block ends; with `tls` it is called localhost, and speaks that."""
    service = PushService(scheme="https" if tls else "http", host="localhost" if tls else "127.0.0.1")

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            service.got.append(Pushed(self.path, dict(self.headers), body))
            answer = service.says.pop(0) if service.says else 201
            if answer == HANG:
                service.closing.wait()
            elif answer == DRIP:
                self._drip()
            elif answer != DROP:
                self._answer(*(answer if isinstance(answer, tuple) else (answer, None)))

        def do_GET(self) -> None:
            service.got.append(Pushed(f"GET {self.path}", {}, b""))
            self._answer(200, None)

        def _answer(self, status: int, wait: str | None) -> None:
            self.send_response(status)
            if wait is not None:
                self.send_header("Retry-After", wait)
            if 300 <= status < 400:
                self.send_header("Location", f"{service.origin}/elsewhere")
            self.end_headers()
            self.wfile.write(b"whose: ada@example.org")

        def _drip(self) -> None:
            self.wfile.write(b"HTTP/1.1 201 Created\r\n")
            while not service.closing.wait(0.02):
                try:
                    self.wfile.write(b"X")
                except OSError:
                    return

        def log_message(self, *_said: object) -> None:
            """Nothing is printed."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    if tls:
        server.socket = tls.wrap_socket(server.socket, server_side=True)
        server.handle_error = lambda *_whose: None  # who does not trust it hangs up
    service.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    try:
        yield service
    finally:
        service.closing.set()
        server.shutdown()
        server.server_close()
        thread.join()


def _hkdf(salt: bytes, material: bytes, info: bytes, length: int) -> bytes:
    """RFC 5869 with SHA-256, for one block."""
    return hmac.digest(hmac.digest(salt, material, "sha256"), info + b"\x01", "sha256")[:length]

"""Sealing a notice so that only the device can read it (RFC 8291), and saying who sends it (RFC 8292)."""

from __future__ import annotations

import os
from base64 import urlsafe_b64decode, urlsafe_b64encode
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ec import EllipticCurvePrivateKey

MOST_BYTES = 3993  # of plain text: RFC 8291 section 4
TOKEN_LIFE = timedelta(hours=12)  # RFC 8292 section 2: at most a day
_POINT_BYTES, _SECRET_BYTES = 65, 16
_ORDER = 0xFFFFFFFF00000000FFFFFFFFFFFFFFFFBCE6FAADA7179E84F3B9CAC2FC632551  # of P-256: SP 800-186 section 3.2.1.3


@dataclass(frozen=True)
class Device:
    """A device that listens: where its push service takes notices, and the keys to seal them with, base64url."""

    endpoint: str = field(repr=False)
    key: str = field(repr=False)
    secret: str = field(repr=False)


class Unreadable(ValueError):
    """Keys that are none."""


def private_key(seed: bytes) -> EllipticCurvePrivateKey:
    """The shop's key, from 64 bytes of a derived secret: FIPS 186-5 A.2.1, extra random bits."""
    from cryptography.hazmat.primitives.asymmetric import ec

    return ec.derive_private_key(int.from_bytes(seed) % (_ORDER - 1) + 1, ec.SECP256R1())


def public_text(key: EllipticCurvePrivateKey) -> str:
    """The public half as browsers want it: the uncompressed point in base64url."""
    return _plain(_point(key))


def check_keys(device: Device) -> None:
    """Raises Unreadable where a device's keys are none."""
    _read(device)


def seal(
    text: bytes, device: Device, *, salt: bytes | None = None, sender: EllipticCurvePrivateKey | None = None
) -> bytes:
    """The body of a push request, in one record. Raises Unreadable; ValueError for a text that is too long.

    `salt` and `sender` are made anew each time, but for a test that compares with a published example.
    """
    import http_ece
    from cryptography.hazmat.primitives.asymmetric import ec

    if len(text) > MOST_BYTES:
        raise ValueError(f"A notice has {len(text)} bytes; at most {MOST_BYTES} fit.")
    key, secret = _read(device)
    sealed: bytes = http_ece.encrypt(
        text,
        salt=salt or os.urandom(16),
        private_key=sender or ec.generate_private_key(ec.SECP256R1()),
        dh=key,
        auth_secret=secret,
        version="aes128gcm",
    )
    return sealed


def authorization(key: EllipticCurvePrivateKey, audience: str, contact: str, now: datetime) -> str:
    """The header that says who sends: for one push service (`audience`, an origin) only, and for a few hours."""
    from py_vapid import Vapid02

    claims = {"aud": audience, "exp": int((now + TOKEN_LIFE).timestamp()), "sub": contact}
    # Its own idea of who may be written to refuses addresses that exist; ours was checked when it was set.
    signed: str = Vapid02(key, conf={"no-strict": True}).sign(claims)["Authorization"]
    return signed


def _read(device: Device) -> tuple[bytes, bytes]:
    """A device's public point and its secret. Raises Unreadable."""
    from cryptography.hazmat.primitives.asymmetric import ec

    try:
        key, secret = _bytes(device.key), _bytes(device.secret)
        if len(key) != _POINT_BYTES or len(secret) != _SECRET_BYTES:
            raise ValueError
        ec.EllipticCurvePublicKey.from_encoded_point(ec.SECP256R1(), key)  # a point that is not on the curve is none
    except ValueError:
        raise Unreadable("The keys of this device cannot be read.") from None
    return key, secret


def _point(key: EllipticCurvePrivateKey) -> bytes:
    from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

    return key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)


def _bytes(text: str) -> bytes:
    """What base64url says, with or without its padding. Raises ValueError."""
    if not text.isascii():
        raise ValueError
    return urlsafe_b64decode(text.rstrip("=") + "=" * (-len(text.rstrip("=")) % 4))


def _plain(data: bytes) -> str:
    return urlsafe_b64encode(data).rstrip(b"=").decode("ascii")

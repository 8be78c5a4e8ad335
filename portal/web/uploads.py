"""Forms that carry photos: how large each may be, and what is answered where a photo cannot be kept."""

from __future__ import annotations

from collections.abc import Mapping

from flask import request

from portal.actions.photos import NoRoom, StoreAway
from portal.pictures.limits import LARGEST_BYTES
from portal.rules.throttle import TooOften

MOST_AT_ONCE = 8  # at the bench; a customer sends one
MEGABYTES = LARGEST_BYTES // 1024**2
STATUS: Mapping[type[Exception] | None, int] = {NoRoom: 507, StoreAway: 503, TooOften: 429}  # else 422
_FIELDS = 1024**2  # bytes of a form beside its photos
# Endpoints whose forms carry photos: their most bytes, and their most parts (fields, and files enough to be told that
# they are too many).
_LARGE = {
    "bench.add_photos": (MOST_AT_ONCE * LARGEST_BYTES + _FIELDS, 50),
    "bench.photo_waited": (LARGEST_BYTES + _FIELDS, 15),
    "customer.send_words": (LARGEST_BYTES + _FIELDS, 10),
    "shop.notice_posted": (LARGEST_BYTES + _FIELDS, 10),
}


def allow_large_forms() -> None:
    """Before the form is read: photos may be larger than other forms."""
    allowed = _LARGE.get(request.endpoint or "")
    if allowed:
        request.max_content_length, request.max_form_parts = allowed

"""The question before free text is saved: does it look like a passcode, a card or an identity number?

It is asked at every form of the bench, the keeper and the customers, whatever the form is for, and dismissed by sending
the same words again: the key of the form that comes back says that it was asked about just these. So nothing is
remembered anywhere, and no form must know of it.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets

from flask import g, request

from portal.rules.secrets import ask_about_secrets
from portal.web.request_context import desk

_BLUEPRINTS = ("bench", "customer", "shop")
# What is no free text: numbers that have a field of their own, and what proves somebody.
_NOT_ASKED = {
    "answer_by",
    "code",
    "contact",
    "csrf_token",
    "deed_key",
    "drawn",
    "email",
    "endpoint",
    "key",
    "number",
    "numbers",
    "parcel_ref",
    "passed",
    "phone",
    "reference",
    "seen",
    "second_phone",
    "serial",
    "shown",
    "strokes",
    "things",
}
_HALF = 16  # letters of the key that are random; the other half says what was asked about


def ask_about_typed() -> None:
    """Raise AskFirst where the posted form's words look like a secret and were not asked about before."""
    if request.blueprint not in _BLUEPRINTS or not request.form.get("deed_key"):
        return
    typed = [(name, text) for name, text in request.form.items(multi=True) if name not in _NOT_ASKED]
    words = "\n".join(text for _name, text in sorted(typed))
    if request.form.get("confirmed") == "1" or _was_asked(request.form["deed_key"], words):
        return
    g.asked_about = words
    ask_about_secrets(*(text for _name, text in typed), confirmed=False)
    del g.asked_about


def new_key() -> str:
    """The key of one rendered form, 32 hexadecimal digits; after the question it says what was asked about."""
    begins = secrets.token_hex(_HALF // 2)
    words = g.get("asked_about")
    return begins + (_seal(begins, words) if words else secrets.token_hex(_HALF // 2))


def _was_asked(key: str, words: str) -> bool:
    return hmac.compare_digest(key[_HALF:].encode(), _seal(key[:_HALF], words).encode())


def _seal(begins: str, words: str) -> str:
    message = f"benchwindow asked about|{begins}|{words}".encode()
    return hmac.new(desk().links.secret, message, hashlib.sha256).hexdigest()[:_HALF]

"""Six-digit codes to the contact on file: made, tried, used up. They prove whoever holds a link only.

The digits follow from the row's id under the secret, so they are stored nowhere.
"""

from __future__ import annotations

import hashlib
import hmac
from datetime import datetime, timedelta

from sqlalchemy import Connection

from portal.actions import tell
from portal.actions.desk import Desk
from portal.rules.refusals import Refused, Unfit
from portal.rules.sentences import say
from portal.rules.tokens import new_ref
from portal.store.challenges import Challenge, Challenges

LASTS = timedelta(minutes=15)
MOST_TRIES = 5  # of a six-digit code: the odds of a guess are 5 in 1,000,000
MOST_CODES = 10  # for one thing in a day, so that nobody tries on and on
_A_MOMENT = timedelta(minutes=1)


def make(desk: Desk, connection: Connection, codes: Challenges, of: int, now: datetime) -> str:
    """A new code for this row: the id that its digits follow from. Raises Refused where too many were asked for."""
    newest = codes.newest(connection, of)
    if newest and now - newest.made_at < _A_MOMENT:
        raise Refused(say("A code was sent a moment ago. Please wait a minute before you ask for another."))
    if codes.since(connection, of, now - timedelta(days=1)) >= MOST_CODES:
        raise Refused(say("Too many codes were asked for. Please ring the shop, or use the link that we sent you."))
    ref = new_ref(desk.chooser)
    codes.add(connection, of, ref, now)
    return ref


def nobody() -> Refused:
    """The refusal where no code can be sent."""
    return Refused(say("There is nobody on file whom a code could be sent to. Please ring the shop."))


def try_code(desk: Desk, codes: Challenges, of: int | None, typed: str) -> Challenge:
    """The challenge that a code answers, not used up yet. Raises Unfit (field "code").

    The try is counted, whatever comes of it, before it is looked at.
    """
    now = desk.clock.now()
    with desk.writing() as connection:
        newest = codes.newest(connection, of) if of is not None else None
        counted = newest is not None and codes.count_try(connection, newest.id, MOST_TRIES)
        since = tell.code_sent_at(connection, newest.ref) or newest.made_at if newest else now
    if newest is None or not counted or now - since > LASTS:
        raise wrong()
    digits = "".join(letter for letter in typed if letter.isascii() and letter.isdigit())
    if not hmac.compare_digest(digits.encode(), code_of(desk.links.secret, newest.ref).encode()):
        raise wrong()
    return newest


def use(connection: Connection, codes: Challenges, challenge_id: int, now: datetime) -> None:
    """Use a code up, inside the deed that it proves. Raises Unfit where somebody was faster."""
    if not codes.use(connection, challenge_id, now, MOST_TRIES):
        raise wrong()


def wrong() -> Unfit:
    """The refusal of a code, which never says why."""
    return Unfit("code", say("This is not the code, or its time is over. Type the newest one, or ask for another."))


def code_of(secret: bytes, challenge_ref: str) -> str:
    """The six digits of a challenge."""
    digest = hmac.digest(secret, f"benchwindow code|{challenge_ref}".encode(), hashlib.sha256)
    return f"{int.from_bytes(digest, 'big') % 1_000_000:06}"

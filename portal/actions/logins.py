"""Logging in on a device, locking it, opening it again by PIN, and logging out.

What the cookie carries is a random key; the database keeps its SHA-256, so a copy of the database logs nobody in. Tries
are counted in the database, so that the limits hold across processes and restarts.
"""

from __future__ import annotations

import hashlib
import logging
import secrets
from datetime import datetime, timedelta

import pyotp
from sqlalchemy import Connection

from portal.actions import hashes
from portal.actions.desk import Desk
from portal.rules import passwords, throttle
from portal.rules.refusals import Refused
from portal.rules.sentences import say
from portal.rules.throttle import TooOften
from portal.store import people, throttles
from portal.store.people import Login, Person

log = logging.getLogger(__name__)

LONGEST = timedelta(days=7)  # since the password was typed on the device
MOST_PIN_TRIES = 5
# purpose → tries that go freely, and the first wait after them. The narrowest comes first and a refused try is counted
# no further, so a stranger at one address is stopped long before the owner, elsewhere, would notice. The last is NIST
# SP 800-63B-4's cap: no more than 100 failures in a row, wherever they come from.
_BY_ACCOUNT = {
    "login of": (50, timedelta(minutes=15)),
    "login of, ever": (100, timedelta(days=30)),
}
_LIMITS = {
    "login of and from": (5, timedelta(minutes=1)),
    "login from": (30, timedelta(minutes=1)),
    **_BY_ACCOUNT,
}
_BY_PIN = (15, timedelta(minutes=5))  # of one person on all devices


class WrongLogin(Refused):
    """The login did not fit. It never tells what was wrong: the name, the password or the code."""

    def __init__(self) -> None:
        super().__init__(
            say("Name, password and code do not fit together. Please try again; capitals count in the password.")
        )


class WrongPin(Refused):
    """The PIN was not this person's."""

    def __init__(self) -> None:
        super().__init__(say("This PIN does not fit. Please try again."))


class LoginOver(Refused):
    """The device has to be logged in on anew, with name and password."""

    def __init__(self) -> None:
        super().__init__(say("Please log in with your name and password."))


def sign_in(desk: Desk, name: str, password: str, code: str, address: str) -> str:
    """Log in on a device with name, password and, where they have one, the second factor's code; tell its key.

    The key belongs into the device's cookie and nowhere else. Raises WrongLogin (the same text, and the same work done,
    whatever was wrong) and TooOften.
    """
    now = desk.clock.now()
    subjects = _subjects(name, address)
    _count_login(desk, subjects, now)
    with desk.reading() as connection:
        person = people.by_name(connection, passwords.name_typed(name))
    fits = hashes.fits(person.password_hash if person else "", passwords.normal(password))
    if person is None or not fits or person.disabled_at:
        log.warning("login refused, account %s", person.id if person else "unknown")
        raise WrongLogin
    device_key = secrets.token_urlsafe(32)
    with desk.writing() as connection:
        if person.second_factor and not _use_code(connection, person, code, now):
            log.warning("login refused at the second factor, account %s", person.id)
            raise WrongLogin
        for purpose in ("login of and from", *_BY_ACCOUNT):
            throttles.clear(connection, throttle.key(desk.links.secret, purpose, subjects[purpose]))
        if hashes.outdated(person.password_hash):
            people.change(connection, person.id, password_hash=hashes.kept(passwords.normal(password)))
        people.remove_old_logins(connection, now - LONGEST)
        people.open_login(connection, _kept_key(device_key), person, now)
    log.info("login of account %s", person.id)
    return device_key


def at(connection: Connection, device_key: str, now: datetime) -> Login | None:
    """The device's login, locked or not, in one statement; None when it has ended or is too old."""
    login = people.login(connection, _kept_key(device_key))
    return login if login and now - login.opened_at <= LONGEST else None


def sign_out(desk: Desk, login: Login) -> None:
    """End the login of one device; a copied cookie is worth nothing afterwards."""
    with desk.writing() as connection:
        people.remove_login(connection, login.id)
    log.info("logout of account %s", login.person.id)


def renew(desk: Desk, login: Login) -> str:
    """A new login for the person at this device, in place of one that has ended by their own deed; tell its key."""
    device_key = secrets.token_urlsafe(32)
    with desk.writing() as connection:
        person = people.by_id(connection, login.person.id)
        if person is None or person.disabled_at:
            raise LoginOver
        people.remove_login(connection, login.id)
        people.open_login(connection, _kept_key(device_key), person, desk.clock.now())
    return device_key


def lock(desk: Desk, login: Login) -> None:
    """Lock the device: the password was typed here, so a PIN opens it again, for whoever has one."""
    with desk.writing() as connection:
        people.lock(connection, login.id)
    log.info("device %s locked by account %s", login.id, login.person.id)


def unlock(desk: Desk, login: Login, name: str, pin: str) -> None:
    """Open the locked device by PIN, as oneself.

    Raises WrongPin; after a few of those LoginOver, and the device wants a password; TooOften for a person whose PIN is
    tried on many devices.
    """
    now = desk.clock.now()
    with desk.writing() as connection:
        heard = people.count_pin_try(connection, login.id, MOST_PIN_TRIES)
        person = people.by_name(connection, passwords.name_typed(name))
        limit, window = _BY_PIN
        key = _pin_key(desk, passwords.name_typed(name).casefold())
        verdict = throttles.hit(connection, key, now, limit, window) if heard else None
        if not heard:
            people.remove_spent_login(connection, login.id, MOST_PIN_TRIES)
    if verdict is None:
        log.warning("device %s: too many PINs", login.id)
        raise LoginOver
    if verdict.retry_at:
        raise TooOften(verdict.retry_at)
    typed = hashes.pin_text(desk.links.secret, person.id if person else 0, pin.strip())
    fits = hashes.fits(person.pin_hash if person else "", typed)
    if person is None or not fits or person.disabled_at:
        log.warning("device %s: wrong PIN, account %s", login.id, person.id if person else "unknown")
        raise WrongPin
    with desk.writing() as connection:
        throttles.clear(connection, key)
        people.take_over(connection, login.id, person)
    log.info("device %s opened by account %s", login.id, person.id)


def forgive(desk: Desk, connection: Connection, name: str) -> None:
    """Forget the failed logins of an account, wherever they came from: the keeper has given it a new password."""
    for purpose, subject in _subjects(name, "").items():
        if purpose in _BY_ACCOUNT:
            throttles.clear(connection, throttle.key(desk.links.secret, purpose, subject))
    throttles.clear(connection, _pin_key(desk, name.casefold()))


def count_password(desk: Desk, person: Person) -> None:
    """Count a try at one's own password while logged in. Raises TooOften."""
    with desk.writing() as connection:
        key = throttle.key(desk.links.secret, "own password", str(person.id))
        verdict = throttles.hit(connection, key, desk.clock.now(), 5, timedelta(minutes=1))
    if verdict.retry_at:
        raise TooOften(verdict.retry_at)


def forgive_password(desk: Desk, connection: Connection, person: Person) -> None:
    """Forget those tries."""
    throttles.clear(connection, throttle.key(desk.links.secret, "own password", str(person.id)))


def code_step(secret: str, code: str, now: datetime) -> int | None:
    """The time step whose code this is: the present one, or one before or after it; else None (RFC 6238)."""
    factor = pyotp.TOTP(secret)
    typed = "".join(code.split())
    for offset in (0, -1, 1):
        step = factor.timecode(now) + offset
        if secrets.compare_digest(factor.generate_otp(step).encode(), typed.encode("utf-8", "replace")):
            return step
    return None


def _use_code(connection: Connection, person: Person, code: str, now: datetime) -> bool:
    step = code_step(person.second_factor, code, now)
    return step is not None and people.use_step(connection, person.id, step)


def _subjects(name: str, address: str) -> dict[str, str]:
    account = passwords.name_typed(name).casefold()
    everywhere = dict.fromkeys(_BY_ACCOUNT, account)
    return {"login of and from": f"{account}\n{address}", "login from": address, **everywhere}


def _count_login(desk: Desk, subjects: dict[str, str], now: datetime) -> None:
    """Count the try in a transaction of its own, so that it stays counted whatever comes after."""
    refused: TooOften | None = None
    with desk.writing() as connection:
        for purpose, (limit, window) in _LIMITS.items():
            key = throttle.key(desk.links.secret, purpose, subjects[purpose])
            verdict = throttles.hit(connection, key, now, limit, window)
            if verdict.retry_at:
                refused = TooOften(verdict.retry_at)
                log.warning("login refused, too many tries: %s", purpose)
                break
    if refused:
        raise refused


def _pin_key(desk: Desk, name: str) -> str:
    return throttle.key(desk.links.secret, "pin of", name)


def _kept_key(device_key: str) -> str:
    return hashlib.sha256(device_key.encode("utf-8", "replace")).hexdigest()

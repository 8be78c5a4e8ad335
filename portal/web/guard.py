"""Who may come in: the login that the device's cookie stands for, and the two doors put before pages.

Put `blueprint.before_request(staff_only)` or `keeper_only` before a blueprint's pages. Behind a door, `me()` is the
person, with `.by`, `.name`, `.role` and `.is_keeper`.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import cast

from flask import Flask, abort, redirect, request, session, url_for
from flask.typing import ResponseReturnValue
from flask_login import LoginManager, current_user, login_user, logout_user
from flask_wtf.csrf import generate_csrf

from portal.actions import logins
from portal.actions.desk import By
from portal.store.people import Login
from portal.web import kept
from portal.web.request_context import connection, desk, policy

IDLE = timedelta(hours=12)  # then a password is wanted; a device that was locked waits for its PIN until LONGEST
_SEEN_EVERY = timedelta(minutes=1)
_SETTING_UP = ("account.second_factor", "account.set_second_factor")


class User:
    """The person at this device, as the pages see them. Locked, they count as nobody."""

    is_anonymous = False

    def __init__(self, login: Login, device_key: str) -> None:
        self.login = login
        self.person = login.person
        self.name = login.person.name
        self.role = login.person.role
        self.is_keeper = login.person.is_keeper
        self.by = By("staff", login.person.id)
        self.is_authenticated = self.is_active = not login.locked
        self._device_key = device_key

    def get_id(self) -> str:
        """What the cookie carries."""
        return self._device_key


def watch(app: Flask) -> None:
    """Let the site know who is at the device."""
    manager = LoginManager()
    app.config["SESSION_PROTECTION"] = "basic"  # "strong" logs people out when a phone changes its network
    manager.init_app(app)
    manager.user_loader(_load)


def me() -> User:
    """The person at this device; only behind a door."""
    return cast(User, current_user)


def here() -> Login | None:
    """The device's login, locked or not; None when there is none."""
    return getattr(current_user, "login", None)


def let_in(device_key: str) -> None:
    """Begin a new session for a login; whatever the old one held is dropped."""
    now = desk().clock.now()
    session.clear()
    session.permanent = True
    with desk().reading() as connection:
        login = logins.at(connection, device_key, now)
    if login:  # else it was ended the moment it began
        session["seen"] = int(now.timestamp())
        login_user(User(login, device_key))
        generate_csrf()  # here, or pages that are opened at once would each make one, and one page's forms would fail


def show_out() -> None:
    """Empty this browser's session."""
    logout_user()
    session.clear()


def staff_only() -> ResponseReturnValue | None:
    """Before a page of the bench: somebody must be at the device. What they had typed is kept while they log in."""
    if not current_user.is_authenticated:
        return kept.ask_who(here())
    if request.endpoint not in _SETTING_UP and _second_factor_is_due():
        return redirect(url_for("account.second_factor"), 303)
    return None


def keeper_only() -> ResponseReturnValue | None:
    """Before a page of the keeper: they must be one. Answers 403 to everybody else."""
    asked = staff_only()
    if asked is None and not me().is_keeper:
        abort(403)
    return asked


def _second_factor_is_due() -> bool:
    return me().is_keeper and not me().person.second_factor and policy().people.keepers_need_second_factor


def _load(device_key: str) -> User | None:
    now = desk().clock.now()
    seen = datetime.fromtimestamp(session.get("seen", 0), UTC)
    login = logins.at(connection(), device_key, now)
    if login is None or (now - seen > IDLE and not login.locked):
        return None
    if now - seen > _SEEN_EVERY:
        session["seen"] = int(now.timestamp())
    return User(login, device_key)

"""Logging in and out, locking a shared device, and one's own password, PIN and second factor."""

from __future__ import annotations

from collections.abc import Callable

import pyotp
from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import logins, people
from portal.actions.logins import LoginOver
from portal.qr import svg
from portal.rules.refusals import Refused
from portal.rules.throttle import TooOften
from portal.web import guard, kept
from portal.web.forms import Answer, Filled, attempt, typed
from portal.web.request_context import desk, policy

blueprint = Blueprint("account", __name__)
_OPEN_TO_ALL = {"login", "log_in", "log_out", "lock", "unlock", "open_lock"}


@blueprint.before_request
def _door() -> ResponseReturnValue | None:
    endpoint = (request.endpoint or "").removeprefix("account.")
    return None if endpoint in _OPEN_TO_ALL else guard.staff_only()


@blueprint.get("/login")
def login() -> ResponseReturnValue:
    """The long login, with name and password."""
    return kept.entrance(None)


@blueprint.post("/login")
def log_in() -> ResponseReturnValue:
    """Log in, and go on to where one wanted to, or to what one had typed."""
    address = request.remote_addr or ""
    try:
        device_key = logins.sign_in(desk(), typed("name"), typed("password"), typed("code"), address)
    except TooOften as refused:
        return kept.entrance(None, status=429, reasons=refused.reasons, retry_at=refused.retry_at)
    except Refused as refused:
        return kept.entrance(None, status=422, reasons=refused.reasons)
    old = guard.here()
    if old:
        logins.sign_out(desk(), old)
    guard.let_in(device_key)
    return _go_on()


@blueprint.post("/logout")
def log_out() -> ResponseReturnValue:
    """End this device's login; a copied cookie is worth nothing afterwards."""
    login = guard.here()
    if login:
        logins.sign_out(desk(), login)
    guard.show_out()
    return redirect(url_for("account.login"), 303)


@blueprint.post("/lock")
def lock() -> ResponseReturnValue:
    """Lock this device; whoever has a PIN opens it again."""
    login = guard.here()
    if login:
        logins.lock(desk(), login)
    return redirect(url_for("account.unlock"), 303)


@blueprint.get("/unlock")
def unlock() -> ResponseReturnValue:
    """Who is there?"""
    login = guard.here()
    if login and login.locked:
        return kept.entrance(login)
    return redirect(kept.own_path(request.args.get("next", "")) if login else url_for("account.login"))


@blueprint.post("/unlock")
def open_lock() -> ResponseReturnValue:
    """Open the locked device by PIN, as oneself."""
    login = guard.here()
    if login is None or not login.locked:
        return redirect(url_for("account.unlock"), 303)
    try:
        logins.unlock(desk(), login, typed("name"), typed("pin"))
    except LoginOver as over:
        guard.show_out()
        return kept.entrance(None, status=403, reasons=over.reasons)
    except TooOften as refused:
        return kept.entrance(login, status=429, reasons=refused.reasons, retry_at=refused.retry_at)
    except Refused as refused:
        return kept.entrance(login, status=422, reasons=refused.reasons)
    return _go_on()


@blueprint.get("/account")
def account() -> ResponseReturnValue:
    """One's own password, PIN and second factor."""
    return _account_page(Answer())


@blueprint.post("/account/password")
def change_password() -> ResponseReturnValue:
    """Change the password; every other login of one's own ends."""
    return _change(lambda: people.change_password(desk(), guard.me().by, typed("old"), typed("password")))


@blueprint.post("/account/pin")
def set_pin() -> ResponseReturnValue:
    """Set the PIN, or take it away."""
    return _change(lambda: people.set_pin(desk(), guard.me().by, typed("own_password"), typed("pin")))


@blueprint.post("/account/email")
def set_email() -> ResponseReturnValue:
    """Set where the shop's own news goes, or take the address away."""
    return _change(lambda: people.set_email(desk(), guard.me().by, typed("own_password"), typed("email")))


@blueprint.post("/account/logins/end")
def end_logins() -> ResponseReturnValue:
    """End one's logins on every other device, say because a phone is lost."""
    return _change(lambda: people.end_logins(desk(), guard.me().by, typed("own_password")))


@blueprint.get("/account/second-factor")
def second_factor() -> ResponseReturnValue:
    """Set a second factor up, or drop it."""
    return _factor_page(Answer())


@blueprint.post("/account/second-factor")
def set_second_factor() -> ResponseReturnValue:
    """Ask for a second factor from now on."""
    factor, code = typed("factor"), typed("code")
    return _change(
        lambda: people.set_second_factor(desk(), guard.me().by, typed("own_password"), factor, code), _factor_page
    )


@blueprint.post("/account/second-factor/drop")
def drop_second_factor() -> ResponseReturnValue:
    """Ask for no second factor any more."""
    return _change(lambda: people.drop_second_factor(desk(), guard.me().by, typed("own_password")), _factor_page)


def _change(
    deed: Callable[[], None], page: Callable[[Answer], ResponseReturnValue] | None = None
) -> ResponseReturnValue:
    """Do a deed on one's own account; this device's login goes on even where the deed ended all others."""
    login = guard.me().login
    answer = attempt(deed)
    if not answer.done:
        return (page or _account_page)(answer)
    guard.let_in(logins.renew(desk(), login))
    return redirect(url_for("account.account", saved=1), 303)


def _go_on() -> ResponseReturnValue:
    form = kept.unpacked(typed("kept"))
    if form is not None:
        return kept.once_more(form)
    return redirect(kept.own_path(typed("next")), 303)


def _account_page(answer: Answer) -> ResponseReturnValue:
    page = render_template(
        "account/account.html", answer=answer, me=guard.me(), saved="saved" in request.args, typed=Filled(request.form)
    )
    return page, answer.status


def _factor_page(answer: Answer) -> ResponseReturnValue:
    """The secret travels in the form and is kept nowhere until a code proves that the phone has it."""
    shown = typed("factor") or pyotp.random_base32()
    address = pyotp.TOTP(shown).provisioning_uri(name=guard.me().name, issuer_name=policy().shop.name)
    page = render_template(
        "account/second_factor.html", answer=answer, me=guard.me(), factor=shown, picture=svg(address)
    )
    return page, answer.status

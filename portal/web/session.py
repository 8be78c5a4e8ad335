"""The staff's session cookie, which pages of customers neither read nor write: those look the same to everybody."""

from __future__ import annotations

from flask import Flask, Request, Response, request
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface, SessionMixin


class StaffSession(SecureCookieSessionInterface):
    """Flask's signed cookie everywhere but under `/t/`, in either case, for the printed code is in capitals."""

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        """The session of the cookie; an empty one on a customer's page."""
        return SecureCookieSession() if _is_customers(request.path) else super().open_session(app, request)

    def save_session(self, app: Flask, session: SessionMixin, response: Response) -> None:
        """Set the cookie anew, but not on a customer's page."""
        if not _is_customers(request.path):
            super().save_session(app, session, response)


def _is_customers(path: str) -> bool:
    return path[:3].lower() == "/t/"

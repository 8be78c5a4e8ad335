"""The staff's session cookie, which what is the same for everybody neither reads nor writes: the customers' pages, and
files that a proxy may keep (a cookie kept along with one would log strangers in)."""

from __future__ import annotations

from flask import Flask, Request, Response, request
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface, SessionMixin

_WITHOUT = ("/t/", "/static/", "/health")  # in either case, for the printed code is in capitals


class StaffSession(SecureCookieSessionInterface):
    """Flask's signed cookie, where there is anybody's session at all."""

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        """The session of the cookie; an empty one where there is none."""
        return SecureCookieSession() if _has_none(request.path) else super().open_session(app, request)

    def save_session(self, app: Flask, session: SessionMixin, response: Response) -> None:
        """Set the cookie anew, where there is a session."""
        if not _has_none(request.path):
            super().save_session(app, session, response)


def _has_none(path: str) -> bool:
    return path.lower().startswith(_WITHOUT)

"""What holds for every answer of the site: headers, form protection, trusted proxies."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlsplit

from flask import Flask, Response, abort, request
from flask_wtf.csrf import CSRFProtect
from werkzeug.middleware.proxy_fix import ProxyFix

from portal.settings import Settings

csrf = CSRFProtect()
SAFE = ("GET", "HEAD", "OPTIONS")  # RFC 9110 section 9.2.1; none of these changes anything here

# OWASP ASVS 5.0 V3.4. Nothing is asked of anybody else; no inline script or style.
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob: data:",
        "connect-src 'self'",
        "font-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
        "object-src 'none'",
    )
)


# A demo shows its own pages side by side.
DEMO_POLICY = POLICY.replace("frame-ancestors 'none'", "frame-ancestors 'self'; frame-src 'self'")


def protect(app: Flask, settings: Settings) -> None:
    """Protect every form by its origin and the session's token, every answer by its headers; believe exactly so many
    proxies, each of which must add to X-Forwarded-For."""
    app.url_map.strict_slashes = app.url_map.merge_slashes = False  # those redirect by way of the Host header
    app.before_request(_origins(settings))
    csrf.init_app(app)
    app.after_request(_headers(settings))
    if settings.proxies:
        app.wsgi_app = ProxyFix(  # type: ignore[method-assign]
            app.wsgi_app, x_for=settings.proxies, x_proto=settings.proxies, x_host=0, x_port=0, x_prefix=0
        )


def _origins(settings: Settings) -> Callable[[], None]:
    def check() -> None:
        if request.method not in SAFE:
            check_origin(settings.base_url)

    return check


def check_origin(base_url: str) -> None:
    """Refuse a form that another site sent, beside the session's token. Answers 403.

    Browsers say where a form comes from in Sec-Fetch-Site and Origin; a client that says neither is no browser, and
    carries no cookie that could be abused.
    """
    site = request.headers.get("Sec-Fetch-Site", "same-origin")
    origin = request.headers.get("Origin")
    here = {_origin(base_url), _origin(request.host_url)}
    if site not in ("same-origin", "none") or (origin is not None and origin not in here):
        abort(403)


def _origin(url: str) -> str:
    parts = urlsplit(url)
    return f"{parts.scheme}://{parts.netloc}"


def _headers(settings: Settings) -> Callable[[Response], Response]:
    always = [
        ("Content-Security-Policy", DEMO_POLICY if settings.is_demo else POLICY),
        ("X-Content-Type-Options", "nosniff"),
        ("Referrer-Policy", "same-origin"),  # no-referrer breaks form checks over HTTPS
        ("Cross-Origin-Opener-Policy", "same-origin"),
        ("Cross-Origin-Resource-Policy", "same-origin"),
        ("Permissions-Policy", "camera=(self), geolocation=(), microphone=()"),
    ]
    if settings.https:
        always.append(("Strict-Transport-Security", "max-age=31536000"))
    private = [*always, ("Cache-Control", "no-store"), ("X-Robots-Tag", "noindex, nofollow")]

    def add(response: Response) -> Response:
        if response.status_code == 304:  # it has no content that the others could protect
            response.headers.setdefault("Cache-Control", "no-store")
            return response
        there = {name.lower() for name, _value in response.headers}  # once, not once a header: this is on every answer
        for name, value in always if request.endpoint == "static" else private:
            if name.lower() not in there:
                response.headers.add(name, value)
        return response

    return add

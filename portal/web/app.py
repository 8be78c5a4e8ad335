"""The site's factory: it only assembles. Nothing is opened or read when this module is imported."""

from __future__ import annotations

from datetime import timedelta

import jinja2
from flask import Flask

from portal import resources
from portal.actions import logins
from portal.main import Installation
from portal.web import account, bench, customer, errors, guard, health, manual, people, prints, security, shop, trying
from portal.web.capitals import CapitalsAllowed
from portal.web.page import add_to_templates
from portal.web.request_context import EXTENSION, close_connection
from portal.web.session import StaffSession
from portal.web.uploads import allow_large_forms

LARGEST_FORM = 512 * 1024  # bytes; photos have a limit of their own


def create_app(installation: Installation) -> Flask:
    """The site of one installation."""
    app = Flask("portal", template_folder=str(resources.templates()), static_folder="static")
    app.config.update(
        SECRET_KEY=installation.settings.session_key(),
        MAX_CONTENT_LENGTH=LARGEST_FORM,
        MAX_FORM_MEMORY_SIZE=LARGEST_FORM,
        WTF_CSRF_TIME_LIMIT=None,  # bound to the session: a form left open overnight still works
        WTF_CSRF_SSL_STRICT=False,  # Sec-Fetch-Site and Origin are checked instead of the Referer, which browsers drop
        SESSION_COOKIE_NAME=("__Host-" if installation.settings.https else "") + "bench",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=installation.settings.https,
        PERMANENT_SESSION_LIFETIME=logins.LONGEST,
        SEND_FILE_MAX_AGE_DEFAULT=timedelta(days=7),
    )
    app.session_interface = StaffSession()
    app.extensions[EXTENSION] = installation
    app.jinja_env.undefined = jinja2.StrictUndefined
    app.jinja_env.trim_blocks = True
    app.jinja_env.lstrip_blocks = True
    app.teardown_request(close_connection)
    add_to_templates(app)
    app.before_request(allow_large_forms)
    security.protect(app, installation.settings)
    guard.watch(app)
    errors.register(app)
    for blueprint in (
        account.blueprint,
        bench.blueprint,
        customer.blueprint,
        health.blueprint,
        manual.blueprint,
        people.blueprint,
        prints.blueprint,
        shop.blueprint,
    ):
        app.register_blueprint(blueprint)
    if installation.settings.is_demo:
        app.register_blueprint(trying.blueprint)
    app.wsgi_app = CapitalsAllowed(app.wsgi_app)  # type: ignore[assignment,method-assign]
    return app

"""The keeper's start, and the way to everything that a keeper decides."""

from __future__ import annotations

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.store import policies
from portal.web.request_context import connection, policy
from portal.web.shop import blueprint


@blueprint.get("/")
def overview() -> ResponseReturnValue:
    """What the shop has decided, in short."""
    return render_template(
        "shop/overview.html",
        shop=policy().shop,
        stages=policy().stages,
        revision=policies.newest(connection()),
        saved="saved" in request.args,
    )

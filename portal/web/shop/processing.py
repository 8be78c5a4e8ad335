"""`/shop/processing`: the record of processing activities (GDPR Art. 30(1)), to read, print and hand over."""

from __future__ import annotations

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.rules.retention import REGISTER
from portal.store import keeping
from portal.web import notice
from portal.web.request_context import connection, desk, policy
from portal.web.shop import blueprint


@blueprint.get("/processing")
def processing() -> ResponseReturnValue:
    """The record, with what has been erased so far."""
    return render_template(
        "shop/processing.html",
        notice=notice.notice(policy(), staff=True),
        purged=[(REGISTER[each.kept].name, each) for each in keeping.purged(connection())],
        today=desk().clock.now(),
    )

"""`/shop/processing`: the record of processing (GDPR Art. 30(1), 28(3), 32(1)), to read, print and hand over."""

from __future__ import annotations

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.rules import processing as rules
from portal.rules.days import local_day
from portal.rules.retention import REGISTER
from portal.store import house, keeping
from portal.web import notice
from portal.web.request_context import connection, desk, installation, policy
from portal.web.shop import blueprint


@blueprint.get("/processing")
def processing() -> ResponseReturnValue:
    """The record, with what has been erased so far."""
    archived_at = house.when(connection(), house.ARCHIVED_AT)
    tried_at = house.when(connection(), house.TRIED_AT)
    return render_template(
        "shop/processing.html",
        notice=notice.notice(policy(), staff=True),
        purged=[(REGISTER[each.kept].name, each) for each in keeping.purged(connection())],
        contract=rules.CONTRACT,
        not_occasional=rules.NOT_OCCASIONAL,
        safety=rules.safety(
            encrypted=bool(installation().settings.archive_for),
            archived_on=archived_at and local_day(archived_at, policy()),
            tried_on=tried_at and local_day(tried_at, policy()),
        ),
        today=desk().clock.now(),
    )

"""`/privacy` and `/t/<token>/privacy`: what is held about a reader, what for, and until when (GDPR Art. 13)."""

from __future__ import annotations

from flask import render_template, url_for
from flask.typing import ResponseReturnValue

from portal.web import notice
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.languages import asked, choose
from portal.web.customer.report import back
from portal.web.request_context import connection, local_today, policy


@blueprint.get("/privacy")
def privacy() -> ResponseReturnValue:
    """The notice, for anybody."""
    choose(policy().shop)
    return render_template(
        "customer/privacy.html", notice=notice.notice(policy(), staff=False), held=[], back="", own=""
    )


@blueprint.get("/t/<token>/privacy")
def own_privacy(token: str) -> ResponseReturnValue:
    """The notice, with what is held of this visit and the day on which each kind goes."""
    visit = look_up(token).reader.visit
    return render_template(
        "customer/privacy.html",
        notice=notice.notice(policy(), staff=False),
        held=notice.held(connection(), visit.id, policy(), local_today()),
        still_open=notice.still_open(connection(), visit.id, policy()),
        back=back(token),
        own=url_for("customer.own_data_page", token=token, lang=asked()),
    )

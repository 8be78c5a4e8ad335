"""What went out, to whom it could not go, and what still waits. Words and addresses are kept nowhere."""

from __future__ import annotations

from flask import render_template, request
from flask.typing import ResponseReturnValue

from notifications import outbox
from portal.store import tickets, wordings
from portal.web.request_context import connection
from portal.web.shop import blueprint
from portal.web.shop.letters import mailbox

A_PAGE = 50


@blueprint.get("/sent")
def sent() -> ResponseReturnValue:
    """The newest messages; `before` leads to older ones, `troubled` to those that could not be delivered."""
    before = request.args.get("before", "")
    troubled = "troubled" in request.args
    messages = outbox.newest(
        connection(),
        A_PAGE,
        before=int(before) if before.isdecimal() and len(before) < 10 else None,
        troubled=troubled,
    )
    return render_template(
        "shop/sent.html",
        messages=messages,
        numbers=tickets.numbers_of(connection(), [message.reference for message in messages]),
        words=wordings.by_ids(connection(), {each.wording for each in messages if each.wording}),
        troubled=troubled,
        failed=outbox.count(connection(), "failed"),
        waiting=outbox.count(connection(), "waiting"),
        readable=mailbox() is not None,
        older=messages[-1].id if len(messages) == A_PAGE else None,
    )

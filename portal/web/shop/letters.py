"""A letter that went out, as its reader has it: only where mail is put into a mailbox folder, as in the demo."""

from __future__ import annotations

from email.message import EmailMessage

from flask import Response, abort, render_template
from flask.typing import ResponseReturnValue

from notifications import outbox
from notifications.channels.mail.maildir import MaildirChannel
from portal.web.request_context import connection, installation
from portal.web.shop import blueprint

# The letter is a page of its own without any right: no script, no form, nothing fetched, an origin of its own.
_POLICY = "sandbox; default-src 'none'; img-src data:; form-action 'none'; frame-ancestors 'none'; base-uri 'none'"


@blueprint.get("/sent/<int:number>")
def letter(number: int) -> ResponseReturnValue:
    """The letter's head and text, and what is attached."""
    found = _letter(number)
    body = found.get_body(("plain",))
    return render_template(
        "shop/letter.html",
        number=number,
        head=[(name, str(found[name])) for name in ("From", "To", "Reply-To", "Subject", "Date") if found[name]],
        text=body.get_content() if body else "",
        has_html=found.get_body(("html",)) is not None,
        attached=[each.get_filename() or "" for each in found.iter_attachments()],
    )


@blueprint.get("/sent/<int:number>/html")
def letter_as_html(number: int) -> Response:
    """The letter as mail programs show it."""
    body = _letter(number).get_body(("html",))
    if body is None:
        abort(404)
    return Response(body.get_content(), mimetype="text/html", headers={"Content-Security-Policy": _POLICY})


@blueprint.get("/sent/<int:number>/attached/<int:place>")
def attached(number: int, place: int) -> Response:
    """What was attached, to be saved."""
    found = list(_letter(number).iter_attachments())
    if place >= len(found):
        abort(404)
    answer = Response(found[place].get_payload(decode=True), mimetype="application/octet-stream")
    answer.headers.set("Content-Disposition", "attachment", filename=found[place].get_filename() or "attached")
    return answer


def mailbox() -> MaildirChannel | None:
    """The folder that mail is put into, or None where it goes out into the world."""
    channel = installation().post_office.channels.get("mail")
    return channel if isinstance(channel, MaildirChannel) else None


def _letter(number: int) -> EmailMessage:
    folder, trace = mailbox(), outbox.one(connection(), number)
    found = folder.read(trace.message_id) if folder and trace and trace.message_id else None
    if found is None:
        abort(404)
    return found

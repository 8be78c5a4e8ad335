"""The bench's pages: the list, a ticket, taking in, finding. All behind a login."""

from __future__ import annotations

from flask import Blueprint

from portal.web import guard

blueprint = Blueprint("bench", __name__, url_prefix="/bench")
blueprint.before_request(guard.staff_only)

from portal.web.bench import (  # noqa: E402
    again,  # noqa: F401 (each adds its routes)
    attempts,  # noqa: F401
    camera,  # noqa: F401
    cancelled,  # noqa: F401
    choices,  # noqa: F401
    complaint,  # noqa: F401
    conversation,  # noqa: F401
    data,  # noqa: F401
    deeds,  # noqa: F401
    find,  # noqa: F401
    giving_up,  # noqa: F401
    handover,  # noqa: F401
    listing,  # noqa: F401
    money,  # noqa: F401
    ownership,  # noqa: F401
    parts,  # noqa: F401
    phone,  # noqa: F401
    photo,  # noqa: F401
    photo_pairs,  # noqa: F401
    photos,  # noqa: F401
    posting,  # noqa: F401
    publication,  # noqa: F401
    questions,  # noqa: F401
    receipt,  # noqa: F401
    receive,  # noqa: F401
    record,  # noqa: F401
    sheet,  # noqa: F401
    take_in,  # noqa: F401
    ticket,  # noqa: F401
    today,  # noqa: F401
    tray,  # noqa: F401
    undelivered,  # noqa: F401
    unrepaired,  # noqa: F401
    waiting,  # noqa: F401
    warranty,  # noqa: F401
    window,  # noqa: F401
    without_line,  # noqa: F401
)

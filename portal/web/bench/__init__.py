"""The bench's pages: the list, a ticket, taking in, finding. All behind a login."""

from __future__ import annotations

from flask import Blueprint

from portal.web import guard

blueprint = Blueprint("bench", __name__, url_prefix="/bench")
blueprint.before_request(guard.staff_only)

from portal.web.bench import deeds, find, listing, parts, photos, record, sheet, take_in, ticket, tray  # noqa: E402, F401 (they add their routes)

"""The keeper's pages: the stages, days closed, the whole policy and its revisions, and what went out."""

from __future__ import annotations

from flask import Blueprint

from portal.web import guard

blueprint = Blueprint("shop", __name__, url_prefix="/shop")
blueprint.before_request(guard.keeper_only)

from portal.web.shop import (  # noqa: E402, F401 (they add their routes)
    breaches,
    closed,
    letters,
    notices,
    overview,
    policy_text,
    processing,
    questions,
    requests,
    sent,
    stages,
    wording,
)

"""What is printed: the docket and the bench label."""

from __future__ import annotations

from flask import Blueprint

from portal.web import guard

blueprint = Blueprint("prints", __name__, url_prefix="/bench")
blueprint.before_request(guard.staff_only)


@blueprint.get("/<number>/docket")
def docket(number: str) -> str:
    """The docket."""
    return number


@blueprint.get("/<number>/label")
def label(number: str) -> str:
    """The bench label."""
    return number

"""The keeper's pages."""

from __future__ import annotations

from flask import Blueprint

blueprint = Blueprint("shop", __name__)


@blueprint.get("/shop/")
def overview() -> str:
    """The keeper's start."""
    return ""


@blueprint.get("/manual/")
def manual() -> str:
    """The manual."""
    return ""

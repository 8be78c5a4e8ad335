"""Pages: shop."""

from __future__ import annotations

from flask import Blueprint

blueprint = Blueprint("shop", __name__)

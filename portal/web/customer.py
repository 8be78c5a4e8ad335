"""Pages: customer."""

from __future__ import annotations

from flask import Blueprint

blueprint = Blueprint("customer", __name__)

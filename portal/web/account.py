"""Pages: account."""

from __future__ import annotations

from flask import Blueprint

blueprint = Blueprint("account", __name__)

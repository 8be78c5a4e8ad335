"""Pages: bench."""

from __future__ import annotations

from flask import Blueprint

blueprint = Blueprint("bench", __name__)

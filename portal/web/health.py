"""`/health`: 200 when database and photo store answer; says whether the clock is alive."""

from __future__ import annotations

from flask import Blueprint

blueprint = Blueprint("health", __name__)

"""`/health`: 200 when database and photo store answer; says whether the clock is alive. Nothing personal."""

from __future__ import annotations

from flask import Blueprint, jsonify
from flask.typing import ResponseReturnValue
from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from portal.doctor import stale_sweeps
from portal.web.request_context import connection, installation

blueprint = Blueprint("health", __name__)


@blueprint.get("/health")
def health() -> ResponseReturnValue:
    """For whoever watches the site."""
    house = installation()
    try:
        connection().execute(text("SELECT 1"))
        stale = stale_sweeps(house, house.sweeps.beats(), house.desk.clock.now())
    except SQLAlchemyError:
        return jsonify(database="does not answer"), 503
    try:
        house.photo_files.check()
    except OSError:
        return jsonify(database="ok", storage="cannot be written"), 503
    return jsonify(database="ok", storage="ok", clock="stale: " + ", ".join(stale) if stale else "alive")

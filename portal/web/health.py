"""`/health`: 200 when database and data folder answer; says whether the clock is alive. Nothing personal."""

from __future__ import annotations

import os

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
    writable = os.access(house.settings.data, os.W_OK)
    clock = "alive" if not stale else "stale: " + ", ".join(stale)
    return jsonify(
        database="ok", storage="ok" if writable else "cannot be written", clock=clock
    ), 200 if writable else 503

"""What waits for the bench today: whom to ring, what customers wrote, what did not arrive, what is due, and news."""

from __future__ import annotations

from flask import render_template
from flask.typing import ResponseReturnValue

from portal.web.bench import blueprint
from portal.web.bench.today_sections import sections
from portal.web.clock_notice import clock_notice


@blueprint.get("/today")
def today() -> ResponseReturnValue:
    """The page."""
    return render_template("bench/today.html", sections=sections(), clock=clock_notice())


def count_waiting() -> int:
    """How many things wait for somebody; what is only news waits for nobody."""
    return sum(len(section.lines) for section in sections(news=False))

"""The keeper's start: what waits for them, where the time goes, and the way to everything that they decide."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from flask import Response, abort, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import figures
from portal.rules.cells import safe_cell
from portal.rules.sentences import Sentence, say
from portal.store import waiting as store
from portal.store.waiting import Matter
from portal.web.request_context import connection, desk, policy, policy_revision
from portal.web.shop import blueprint, pictures


@dataclass(frozen=True)
class Waits:
    """So much of a matter waits, and where."""

    says: Sentence
    count: int
    link: str


@blueprint.get("/")
def overview() -> ResponseReturnValue:
    """What waits, the pictures of the year, and what the shop has decided."""
    return render_template(
        "shop/overview.html",
        waits=_waits(),
        pictures=pictures.pictures(figures.year(desk(), connection(), policy())),
        stages=policy().stages,
        revision=policy_revision(),
        saved="saved" in request.args,
    )


@blueprint.get("/figures/<key>")
def figure(key: str) -> ResponseReturnValue:
    """One picture, large, with its table and the open repairs behind it."""
    year = figures.year(desk(), connection(), policy())
    picture = pictures.picture(key, year)
    if picture is None:
        abort(404)
    last = {number: way.steps[-1] for number, way in year.open.items()}
    stages = [
        (stage, [(number, step.hold) for number, step in last.items() if step.stage == stage.key])
        for stage in policy().stages
    ]
    return render_template("shop/figure.html", picture=picture, stages=[pair for pair in stages if pair[1]])


@blueprint.get("/figures/<key>.csv")
def figure_file(key: str) -> ResponseReturnValue:
    """The same as a file for a spreadsheet; nothing in it is taken for a formula."""
    picture = pictures.picture(key, figures.year(desk(), connection(), policy()))
    if picture is None:
        abort(404)
    text = io.StringIO()
    rows = csv.writer(text)
    rows.writerow(["", *map(safe_cell, picture.columns)])
    rows.writerows([safe_cell(row.label), *row.counts] for row in picture.rows)
    headers = {"Content-Disposition": f'attachment; filename="{picture.key}.csv"'}
    return Response("\ufeff" + text.getvalue(), mimetype="text/csv", headers=headers)


def _waits() -> list[Waits]:
    """What there is any of."""
    counts = store.waiting(connection(), policy().stages[-1].key)
    today = url_for("bench.today")
    ways = {
        Matter.SIGN_OFF: (say("to sign off"), url_for("shop.questions")),
        Matter.WROTE: (say("customers wrote"), f"{today}#wrote"),
        Matter.UNDELIVERED: (say("messages could not be delivered"), url_for("shop.sent", troubled=1)),
        Matter.REQUEST: (say("requests about personal data"), url_for("shop.requests")),
        Matter.COMPLAINT: (say("complaints to answer"), f"{today}#complaints"),
        Matter.DISPUTE: (say("in dispute, or claimed by somebody else"), url_for("bench.open_tickets", hold="dispute")),
        Matter.MOVED: (say("will probably be later than the customer was told"), f"{today}#moved"),
        Matter.READY: (say("ready, and not collected"), url_for("bench.open_tickets")),
    }
    return [Waits(says, counts[matter], link) for matter, (says, link) in ways.items() if counts[matter]]

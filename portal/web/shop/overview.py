"""The keeper's start: what waits for them, where the time goes, and the way to everything that they decide."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from flask import Response, abort, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import figures
from portal.rules.cells import safe_cell
from portal.store import waiting as store
from portal.store.waiting import Matter
from portal.web.request_context import connection, desk, policy, policy_revision, speaking
from portal.web.shop import blueprint, pictures


@dataclass(frozen=True)
class Waits:
    """So much of a matter waits, and where."""

    says: str
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
    links = {
        Matter.SIGN_OFF: url_for("shop.questions"),
        Matter.WROTE: f"{today}#wrote",
        Matter.UNDELIVERED: url_for("shop.sent", troubled=1),
        Matter.REQUEST: url_for("shop.requests"),
        Matter.COMPLAINT: f"{today}#complaints",
        Matter.DISPUTE: url_for("bench.open_tickets", hold="dispute"),
        Matter.MOVED: f"{today}#moved",
        Matter.READY: url_for("bench.open_tickets"),
    }
    return [
        Waits(_says(matter, counts[matter]), counts[matter], link) for matter, link in links.items() if counts[matter]
    ]


def _says(matter: Matter, count: int) -> str:
    """What stands behind the count."""
    language = speaking()
    match matter:
        case Matter.SIGN_OFF:
            return language.gettext("to sign off")
        case Matter.WROTE:
            return language.ngettext("customer wrote", "customers wrote", count)
        case Matter.UNDELIVERED:
            return language.ngettext("message could not be delivered", "messages could not be delivered", count)
        case Matter.REQUEST:
            return language.ngettext("request about personal data", "requests about personal data", count)
        case Matter.COMPLAINT:
            return language.ngettext("complaint to answer", "complaints to answer", count)
        case Matter.DISPUTE:
            return language.gettext("in dispute, or claimed by somebody else")
        case Matter.MOVED:
            return language.gettext("will probably be later than the customer was told")
        case Matter.READY:
            return language.gettext("ready, and not collected")

"""What is printed: the docket that the customer takes home, the label that stays on the device, and a test print.

Pages made for paper: black on white, with sizes in millimetres in a style sheet of their own, since the policy sets
them. The docket's code is the customer's link; the label's leads to the bench, where a login is needed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from urllib.parse import urlsplit

from flask import Blueprint, Response, abort, render_template, request, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from portal.actions import collection_codes
from portal.actions.desk import find
from portal.print_sheets import docket_sheet, label_sheet
from portal.qr import QUIET_ZONE, modules, svg
from portal.rules.numbers import spoken
from portal.rules.policy_prints import PAGES, Label
from portal.rules.price_terms import PriceTerms
from portal.rules.print_sizes import (
    LARGEST_CODE_MM,
    PAPERS,
    LabelPlan,
    leads_only_here,
    module_mm,
    plan_label,
    too_fine,
)
from portal.rules.sentences import Sentence
from portal.store import acceptances, questions, tickets, visits
from portal.store.tickets import Ticket
from portal.web import guard, statements
from portal.web import report as told
from portal.web.customer.languages import choices, choose
from portal.web.request_context import connection, desk, policy, speaking

blueprint = Blueprint("prints", __name__, url_prefix="/bench")
blueprint.before_request(guard.staff_only)
blueprint.context_processor(lambda: {"choices": choices})


@dataclass(frozen=True)
class Code:
    """A code ready to print, with the size of its smallest squares."""

    svg: Markup
    module_mm: float
    side_mm: float


@dataclass(frozen=True)
class DocketPrint:
    """All that a printed docket shows. `short_address` is what people without a camera type."""

    tickets: Sequence[Ticket]
    prices: Mapping[str, PriceTerms]  # what was agreed at the start, by number
    stub_codes: Mapping[str, str]  # collection codes by number, where nobody can be sent one
    made_at: datetime
    accepted_at: datetime | None  # the terms in force
    code: Code
    short_address: str
    size: str
    sizes: Sequence[str]
    sheet: str
    warnings: Sequence[Sentence]


@dataclass(frozen=True)
class LabelPrint:
    """All that a printed label shows. `ticket` is None on a test print."""

    ticket: Ticket | None
    number: str
    made_on: date
    code: Code
    plan: LabelPlan
    label: Label
    labels: Sequence[Label]
    sheet: str
    warnings: Sequence[Sentence]


@dataclass(frozen=True)
class ReportPrint:
    """All that a printed repair report shows."""

    report: told.Printed
    size: str
    sizes: Mapping[str, str]  # the paper's name by its key
    sheet: str
    warnings: Sequence[Sentence]


@blueprint.get("/<number>/docket")
def docket(number: str) -> ResponseReturnValue:
    """The docket of the whole visit, on A4 or Letter, or on a receipt roll."""
    ticket = find(connection(), number)
    visit = visits.by_id(connection(), ticket.visit_id)
    rules = policy()
    choose(rules.shop, visit.language)
    size = request.args.get("size", rules.prints.docket)
    paper = PAPERS.get(size) or abort(404)
    address = desk().links.code(visit.ref, visit.docket_version)
    code = _code(address, module_mm(_side(address), min(paper.room_mm, LARGEST_CODE_MM)))
    page = DocketPrint(
        tickets=tickets.of_visit(connection(), visit.id),
        prices=questions.terms_of_visit(connection(), visit.id),
        stub_codes=collection_codes.on_stub(desk(), connection(), visit),
        made_at=visit.made_at,
        accepted_at=_accepted_at(visit.id),
        code=code,
        short_address=urlsplit(desk().links.base_url).netloc + urlsplit(desk().links.base_url).path,
        size=size,
        sizes=list(PAPERS),
        sheet=f"docket-{size}",
        warnings=_warnings(code),
    )
    return render_template("print/docket.html", page=page)


@blueprint.get("/<number>/report")
def report(number: str) -> ResponseReturnValue:
    """The repair report of one device, on A4 or Letter, in the customer's language."""
    ticket = find(connection(), number)
    rules = policy()
    choose(rules.shop, visits.by_id(connection(), ticket.visit_id).language)
    size = request.args.get("size", rules.prints.page)
    if size not in PAGES:
        abort(404)
    page = ReportPrint(told.printed(ticket), size, PAGES, sheet=f"docket-{size}", warnings=())
    return render_template("print/report.html", page=page)


@blueprint.get("/<number>/statement/<int:which>")
def statement(number: str, which: int) -> ResponseReturnValue:
    """A statement of what was agreed and paid, on A4 or Letter, in the customer's language."""
    ticket, made = statements.of(find(connection(), number), which)
    choose(policy().shop, visits.by_id(connection(), ticket.visit_id).language)
    return statements.page("print/statement.html", ticket, made, url_for("bench.money", number=spoken(ticket.number)))


@blueprint.get("/<number>/label")
def label(number: str) -> ResponseReturnValue:
    """The bench label of one device."""
    return _label_page(find(connection(), number))


@blueprint.get("/prints/test")
def test_print() -> ResponseReturnValue:
    """A label with its edges and a ruler drawn on it, to set the offsets by. Its code leads to the bench's list."""
    return _label_page(None)


@blueprint.get("/prints/<name>.css")
def sheet(name: str) -> ResponseReturnValue:
    """The style sheet with a paper's or label's millimetres."""
    kind, _, key = name.partition("-")
    paper, chosen = PAPERS.get(key), policy().prints.label(key)
    if kind == "docket" and paper:
        text = docket_sheet(paper)
    elif kind == "label" and chosen:
        text = label_sheet(chosen)
    else:
        abort(404)
    return Response(text, mimetype="text/css")


def _accepted_at(visit_id: int) -> datetime | None:
    terms = policy().terms
    found = acceptances.of_visit(connection(), visit_id) if terms else []
    return next((each.at for each in found if terms and each.terms_version == terms.version), None)


def _label_page(ticket: Ticket | None) -> ResponseReturnValue:
    labels = policy().prints.labels
    chosen = policy().prints.label(request.args.get("size", labels[0].key)) or abort(404)
    number = spoken(ticket.number) if ticket else "1234-0"
    address = (desk().links.bench(ticket.number) if ticket else f"{desk().links.base_url}/bench").upper()
    plan = plan_label(chosen, _side(address), len(number))
    code = _code(address, plan.module_mm)
    page = LabelPrint(
        ticket=ticket,
        number=number,
        made_on=speaking().local(ticket.made_at if ticket else desk().clock.now()).date(),
        code=code,
        plan=plan,
        label=chosen,
        labels=labels,
        sheet=f"label-{chosen.key}",
        warnings=_warnings(code),
    )
    return render_template("print/label.html", page=page)


def _code(address: str, module: float) -> Code:
    return Code(svg(address, module, label=speaking().gettext("QR code")), module, module * _side(address))


def _side(address: str) -> int:
    return len(modules(address)) + 2 * QUIET_ZONE


def _warnings(code: Code) -> list[Sentence]:
    found = (leads_only_here(desk().links.base_url), too_fine(code.module_mm))
    return [warning for warning in found if warning]

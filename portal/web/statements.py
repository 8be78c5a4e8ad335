"""A statement as it is shown: looked up by its number, as a page for paper, as a file, and as data.

The bench and its customer use the same, so that both hold the same paper.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from flask import Response, abort, jsonify, render_template, request

from portal.actions.desk import NotFound
from portal.letters import statement as paper
from portal.rules.numbers import spoken
from portal.rules.policy_prints import PAGES
from portal.rules.sentences import Sentence, say
from portal.rules.statement_files import table
from portal.rules.statements import NOT_AN_INVOICE, to_data
from portal.store import money
from portal.store.money import Statement
from portal.store.tickets import Ticket
from portal.web.request_context import connection, policy, speaking


@dataclass(frozen=True)
class StatementPrint:
    """The paper that a statement's page is made for. `sheet` names its style in millimetres."""

    size: str
    sizes: Mapping[str, str]  # the paper's name by its key
    sheet: str
    warnings: Sequence[Sentence] = ()


def of(ticket: Ticket, which: int) -> tuple[Ticket, Statement]:
    """One of a ticket's statements by its number. Raises NotFound, also for another ticket's."""
    for each in money.statements_of(connection(), ticket.id):
        if each.number == which:
            return ticket, each
    raise NotFound(say("This repair has no such statement."))


def page(template: str, ticket: Ticket, made: Statement, back: str, **more: str) -> str:
    """A statement as a page for paper, A4 or Letter as `?size=` or the policy says, in the page's language.

    `back` is the address of the page of money; `more` is what else the template shows.
    """
    size = request.args.get("size", policy().prints.page)
    if size not in PAGES:
        abort(404)
    return render_template(
        template,
        page=StatementPrint(size, PAGES, f"docket-{size}"),
        ticket=ticket,
        statement=made,
        shop=policy().shop,
        size=size,
        day=speaking().day(speaking().local(made.at).date()),
        not_an_invoice=NOT_AN_INVOICE,
        back=back,
        **more,
    )


def file(ticket: Ticket, made: Statement) -> Response:
    """A statement as a file to be kept or sent: PDF, or HTML without that extra."""
    found = paper.file(ticket, made, policy(), speaking())
    answer = Response(found.content, mimetype=found.media_type)
    answer.headers.set("Content-Disposition", "attachment", filename=found.name)
    return answer


def data(ticket: Ticket, made: Statement, form: str) -> Response:
    """A statement as "csv" or "json", to be saved."""
    if form == "csv":
        answer = Response(table(made.number, ticket.number, made.document), mimetype="text/csv")
    else:
        facts = {"statement": made.number, "repair": spoken(ticket.number), "made_at": made.at.isoformat()}
        more = {"reverses": made.reverses, "reversed_by": made.reversed_by}
        answer = jsonify(facts | more | to_data(made.document))
    answer.headers.set("Content-Disposition", "attachment", filename=f"statement-{made.number}.{form}")
    return answer

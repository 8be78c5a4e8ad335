"""A statement as it is shown: looked up by its number, as a paper, and as data. The bench and its customer use it."""

from __future__ import annotations

from flask import Response, jsonify

from portal.actions.desk import NotFound
from portal.rules.numbers import spoken
from portal.rules.sentences import say
from portal.rules.statement_files import table
from portal.rules.statements import to_data
from portal.store import money
from portal.store.money import Statement
from portal.store.tickets import Ticket
from portal.web.request_context import connection


def of(ticket: Ticket, which: int) -> tuple[Ticket, Statement]:
    """One of a ticket's statements by its number. Raises NotFound, also for another ticket's."""
    for each in money.statements_of(connection(), ticket.id):
        if each.number == which:
            return ticket, each
    raise NotFound(say("This repair has no such statement."))


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

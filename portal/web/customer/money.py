"""`/t/<token>/money/<number>`: what was agreed, what is paid and what is open; how to pay; and the statement."""

from __future__ import annotations

from typing import Any

from flask import Response, render_template, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from portal.actions import balance
from portal.actions.cancelled import cancellable
from portal.language import Language
from portal.letters.paper import has_pdf
from portal.print_sheets import docket_sheet
from portal.qr import svg
from portal.rules.cancellation import of_document
from portal.rules.cancelled import START, Agreed
from portal.rules.days import local_day
from portal.rules.epc import CURRENCY, grouped, payload
from portal.rules.numbers import spoken
from portal.rules.policy import Policy
from portal.rules.print_sizes import PAPERS
from portal.rules.refusals import Refused
from portal.rules.statements import NOT_AN_INVOICE
from portal.store import money as store
from portal.store import questions, refunds
from portal.store.tickets import Ticket
from portal.web import statements
from portal.web.customer import blueprint
from portal.web.customer.cancel import may_cancel
from portal.web.customer.docket import look_up
from portal.web.customer.languages import asked
from portal.web.customer.report import back, ticket_of
from portal.web.request_context import connection, desk, policy, speaking


@blueprint.get("/t/<token>/money/<number>")
def money(token: str, number: str) -> ResponseReturnValue:
    """The account of one of the visit's devices."""
    reader, rules = look_up(token).reader, policy()
    found = ticket_of(reader.visit.id, number)
    account = balance.of(connection(), found, rules)
    lasting, declared, rights = _cancelling(found)
    return render_template(
        "customer/money.html",
        ticket=found,
        account=account,
        made=balance.statement(connection(), found, rules),
        refund=refunds.of_ticket(connection(), found.id) if account.credit_minor else None,
        statement=store.standing_statement(connection(), found.id),
        lasting=lasting,
        declared=declared,
        rights=rights,
        may_cancel=bool(lasting) and may_cancel(reader),
        START=START,
        paying=rules.money,
        iban=grouped(rules.money.iban),
        code=_code(found, account.open_minor, rules, speaking()),
        file_words=_file_words(),
        not_an_invoice=NOT_AN_INVOICE,
        token=token,
        lang=asked(),
        back=back(token),
    )


@blueprint.get("/t/<token>/money/<number>/statement/<int:which>")
def statement(token: str, number: str, which: int) -> str:
    """A statement as a page for paper: the same paper that the shop has."""
    found, made = statements.of(ticket_of(look_up(token).reader.visit.id, number), which)
    at: dict[str, Any] = {"token": token, "number": spoken(found.number), "lang": asked()}
    return statements.page(
        "customer/statement.html",
        found,
        made,
        url_for("customer.money", **at),
        file=url_for("customer.statement_file", which=which, **at),
        file_words=_file_words(),
    )


@blueprint.get("/t/<token>/money/<number>/statement/<int:which>/file")
def statement_file(token: str, number: str, which: int) -> Response:
    """A statement as a file to be kept: PDF, or HTML without that extra."""
    found = ticket_of(look_up(token).reader.visit.id, number)
    return statements.file(*statements.of(found, which))


@blueprint.get("/paper/<any(a4, letter):size>.css")
def paper_sheet(size: str) -> Response:
    """The style sheet with a paper's millimetres, for a page that its reader prints."""
    return Response(docket_sheet(PAPERS[size]), mimetype="text/css")


@blueprint.get("/t/<token>/money/<number>/statement/<int:which>.<any(csv, json):form>")
def statement_data(token: str, number: str, which: int, form: str) -> Response:
    """A statement as data, to be saved."""
    found = ticket_of(look_up(token).reader.visit.id, number)
    return statements.data(*statements.of(found, which), form)


def _cancelling(ticket: Ticket) -> tuple[list[Agreed], list[Agreed], list[str]]:
    """What was agreed at a distance and can still be cancelled; what was, and awaits its part; and what they were told.

    That is how to cancel, in the very words.
    """
    today = local_day(desk().clock.now(), policy())
    found = cancellable(connection(), ticket)
    declared = [each for each in found if each.declared_on]
    lasting = [each for each in found if each.until and today <= each.until and not each.declared_on]
    if not lasting:
        return [], declared, []
    told = [of_document(proof.document) for proof in questions.chain(connection(), ticket.id)]
    return lasting, declared, list(dict.fromkeys(each.told.right for each in told if each))


def _file_words() -> str:
    words = speaking()
    return words.gettext("Save it as PDF") if has_pdf() else words.gettext("Save it as a file")


def _code(ticket: Ticket, open_minor: int, rules: Policy, words: Language) -> Markup | None:
    """What a bank's app reads, where the shop has an account for it and reckons in euro."""
    paying = rules.money
    if not (open_minor and paying.iban and rules.shop.currency == CURRENCY):
        return None
    try:
        text = payload(paying.payee, paying.iban, open_minor, spoken(ticket.number), bic=paying.bic)
    except Refused:
        return None
    return svg(text, label=words.gettext("Code for your bank’s app"))

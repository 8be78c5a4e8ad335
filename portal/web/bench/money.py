"""`/bench/<number>/money`: what is charged and paid for a repair, and the deeds on it; its statements."""

from __future__ import annotations

from functools import partial

from flask import Response, render_template
from flask.typing import ResponseReturnValue

from portal.actions import balance, cancelled, charges, payments
from portal.actions.collection import is_waiting
from portal.actions.desk import find
from portal.actions.payments import Typed
from portal.rules.money import Price
from portal.rules.payments import HOW_WORDS, KIND_WORDS
from portal.rules.stages import Ending
from portal.store import money as store
from portal.store import refunds
from portal.store.tickets import Ticket
from portal.web import guard, statements
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, desk, local_today, policy


@blueprint.get("/<number>/money")
def money(number: str) -> ResponseReturnValue:
    """The account, with the forms."""
    return money_page(find(connection(), number))


@blueprint.post("/<number>/money/take")
def take_money(number: str) -> ResponseReturnValue:
    """Money came in."""
    deed = partial(payments.take, typed=_typed(), confirmed=typed("confirmed") == "1")
    return do(number, "take", deed, money_page, ".money")


@blueprint.post("/<number>/money/give-back")
def give_money_back(number: str) -> ResponseReturnValue:
    """What is owed back was given back."""
    return do(number, "back", partial(payments.give_back, typed=_typed()), money_page, ".money")


@blueprint.post("/<number>/money/<ref>/reverse")
def reverse_money(number: str, ref: str) -> ResponseReturnValue:
    """An entry was a mistake."""
    deed = partial(payments.reverse, ref=ref, why=typed("why"))
    return do(number, f"reverse-{ref}", deed, money_page, ".money")


@blueprint.post("/<number>/money/let-off")
def let_off(number: str) -> ResponseReturnValue:
    """The keeper lets something off."""
    deed = partial(charges.let_off, amount=typed("amount"), why=typed("why"))
    return do(number, "let-off", deed, money_page, ".money")


@blueprint.post("/<number>/money/storage")
def state_storage(number: str) -> ResponseReturnValue:
    """The keeper states what storage costs."""
    return do(number, "storage", partial(charges.state_storage, amount=typed("amount")), money_page, ".money")


@blueprint.post("/<number>/money/<ref>/take-back")
def take_charge_back(number: str, ref: str) -> ResponseReturnValue:
    """Storage, or what was let off, holds no longer."""
    return do(number, "take-back", partial(charges.take_back, ref=ref), money_page, ".money")


@blueprint.post("/<number>/money/state")
def make_statement(number: str) -> ResponseReturnValue:
    """Make a statement of how it stands."""
    return do(number, "state", charges.state, money_page, ".money")


@blueprint.get("/<number>/statement/<int:which>.pdf")
def statement_file(number: str, which: int) -> Response:
    """A statement as a file to be kept or sent."""
    return statements.file(*statements.of(find(connection(), number), which))


@blueprint.get("/<number>/statement/<int:which>.<any(csv, json):form>")
def statement_data(number: str, which: int, form: str) -> Response:
    """A statement as data."""
    return statements.data(*statements.of(find(connection(), number), which), form)


def money_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    answer, rules = answer or Answer(), policy()
    account, made = balance.of(connection(), found, rules), balance.statement(connection(), found, rules)
    stated = store.statements_of(connection(), found.id)
    page = render_template(
        "bench/money.html",
        ticket=found,
        account=account,
        made=made,
        statements=stated,
        is_stated=any(each.stands and each.document == made for each in stated),
        is_ready=is_waiting(found, rules),
        storage_minor=charges.storage_so_far(desk(), connection(), found, rules),
        currency=rules.shop.currency,
        plain=lambda minor: Price(minor, rules.shop.currency).plain,
        is_keeper=guard.me().is_keeper,
        as_it_came=found.ending in (Ending.RETURNED, Ending.GIVEN_UP),
        how_words=HOW_WORDS,
        kind_words=KIND_WORDS,
        can_be_cancelled=bool(cancelled.cancellable(connection(), found)),
        refund=refunds.of_ticket(connection(), found.id),
        today=local_today(),
        **form_context(answer, form),
    )
    return page, answer.status


def _typed() -> Typed:
    return Typed(typed("amount"), typed("how"), typed("reference"), typed("on"))

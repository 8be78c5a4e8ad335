"""`/announce`: a device announced before it is posted, and the sheet that goes into its box."""

from __future__ import annotations

from flask import abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions.announce import PACKING, Announced, announce
from portal.actions.intake import NewDevice, NewVisit, TakenIn
from portal.qr import svg
from portal.rules.intake_record import Item
from portal.rules.money import parse_amount
from portal.rules.numbers import spoken
from portal.rules.refusals import needs
from portal.rules.sentences import say
from portal.rules.throttle import TooOften
from portal.store import announcements
from portal.web.customer import blueprint
from portal.web.customer.docket import look_up
from portal.web.customer.languages import asked, choose
from portal.web.customer.report import back, ticket_of
from portal.web.forms import Answer, Filled, attempt, deed_key_typed, new_deed_key, typed
from portal.web.request_context import connection, desk, policy, speaking

ROWS = 4  # for what lies in the box beside the device
MODULE_MM = 0.8  # of the code: read from a hand's breadth by any phone


@blueprint.get("/announce")
def announcing() -> ResponseReturnValue:
    """The form, where the shop takes devices by post."""
    _must_be_open()
    return _form(Answer())


@blueprint.post("/announce")
def send_announcement() -> ResponseReturnValue:
    """Announce a device; its sheet comes next."""
    _must_be_open()
    answer = attempt(_announce)
    if answer.kind is TooOften:
        answer.status = 429
    if not answer.done:
        return _form(answer)
    taken = answer.result
    assert isinstance(taken, TakenIn)
    token, number = taken.link.rsplit("/", 1)[-1], spoken(taken.numbers[0])
    return redirect(url_for("customer.parcel", token=token, number=number, lang=asked()), 303)


@blueprint.get("/t/<token>/parcel/<number>")
def parcel(token: str, number: str) -> ResponseReturnValue:
    """The sheet to print and put into the box, until the parcel is here."""
    reader = look_up(token).reader
    found = ticket_of(reader.visit.id, number)
    known = announcements.of_ticket(connection(), found.id)
    if known is None or found.stage or found.ending:
        return redirect(back(token), 303)
    code = svg(desk().links.bench(found.number).upper(), MODULE_MM, label=speaking().gettext("QR code"))
    return render_template(
        "customer/parcel.html", ticket=found, announced=known, code=code, packing=PACKING, back=back(token)
    )


def _must_be_open() -> None:
    choose(policy().shop)
    if not policy().bench.announcing:
        abort(404)


def _announce() -> TakenIn:
    battery, declared = typed("battery"), typed("declared").strip()
    if battery not in ("sound", "damaged", "unknown"):
        raise needs("battery", say("The answer about the battery"))
    rows = zip(request.form.getlist("item"), request.form.getlist("count"), strict=False)
    what = say("The declared value")
    announced = Announced(
        NewVisit(name=typed("name"), email=typed("email"), phone=typed("phone"), language=speaking().tag),
        NewDevice(typed("device"), typed("fault"), typed("kind")),
        return_address=typed("return_address"),
        items=[Item(item, count.strip() or 1) for item, count in rows if item.strip()],
        declared_minor=parse_amount("declared", what, declared, policy().shop.currency) if declared else None,
        battery_is_sound=battery == "sound",
    )
    return announce(
        desk(),
        announced,
        request.remote_addr or "",
        confirmed=typed("confirmed") == "1",
        deed_key=deed_key_typed(),
    )


def _form(answer: Answer) -> ResponseReturnValue:
    page = render_template(
        "customer/announce.html",
        answer=answer,
        typed=Filled(request.form),
        items=request.form.getlist("item"),
        counts=request.form.getlist("count"),
        rows=ROWS,
        packing=PACKING,
        deed_key=new_deed_key(),
    )
    return page, answer.status

"""The intake record: what the device was like when it came, at one tap for what is common."""

from __future__ import annotations

from functools import partial

from flask import render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import record as deeds
from portal.actions.desk import find
from portal.rules.intake_record import BENCH_SAFETY, CHOICES, NO_PASSCODE, Battery, Item, Mark, Record, unsafe
from portal.rules.intake_words import CHOICE_WORDS, FIELD_WORDS, FLAG_WORDS
from portal.store import announcements, records
from portal.store.tickets import Ticket
from portal.web.bench import blueprint
from portal.web.bench.doing import do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, policy

SPARE_ROWS = 2


@blueprint.get("/<number>/record")
def record(number: str) -> ResponseReturnValue:
    """The form, with what was written down last in it."""
    return record_page(find(connection(), number))


@blueprint.post("/<number>/record")
def write_record(number: str) -> ResponseReturnValue:
    """Write it down; a record that is there gets a new version."""
    deed = partial(deeds.record, written=_typed(), confirmed=typed("confirmed") == "1")
    return do(number, "record", deed, record_page, ".ticket")


@blueprint.post("/<number>/record/safe")
def make_safe(number: str) -> ResponseReturnValue:
    """Say how a damaged battery was dealt with."""
    return do(number, "safe", partial(deeds.make_safe, how=typed("how")), record_page, ".record")


def record_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page; after a refusal with everything typed still in it."""
    answer = answer or Answer()
    last = records.newest(connection(), found.id)
    written = _typed() if form == "record" else last.record if last else _begun(found)
    kind = policy().kind(found.kind)
    page = render_template(
        "bench/record.html",
        ticket=found,
        record=written,
        version=last,
        common=kind.marks if kind else [],
        spare=SPARE_ROWS,
        choices={name: list(choices) for name, choices in CHOICES.items()},
        fields=FIELD_WORDS,
        choice_words=CHOICE_WORDS,
        flags={flag: FLAG_WORDS[flag] for flag in Battery},
        passcode=NO_PASSCODE,
        safety=BENCH_SAFETY if last and unsafe(last.record, made_safe=last.made_safe_at is not None) else None,
        **form_context(answer, form),
    )
    return page, answer.status


def _begun(found: Ticket) -> Record:
    """An empty record; for a device that came by post with what was in its parcel."""
    parcel = announcements.of_ticket(connection(), found.id)
    return Record(came_by="post", items=parcel.arrived) if parcel and parcel.received_at else Record()


def _typed() -> Record:
    form = request.form
    ticked = [Mark(what, place=form.get(f"place {what}", "")) for what in form.getlist("mark")]
    own = [
        Mark(what, place=place)
        for what, place in zip(form.getlist("own_mark"), form.getlist("own_place"), strict=False)
        if what.strip() or place.strip()
    ]
    inside = set(form.getlist("inside"))
    rows = enumerate(zip(form.getlist("item"), form.getlist("count"), strict=False))
    items = [Item(what, count or "1", str(row) in inside) for row, (what, count) in rows if what.strip()]
    chosen = {name: form[name] for name in CHOICES if form.get(name)}
    return Record(
        shop_sees=typed("shop_sees"),
        serial=typed("serial"),
        marks=[*ticked, *own],
        earlier_repair=typed("earlier_repair"),
        battery=form.getlist("battery"),
        items=items,
        came_by=typed("came_by") or "counter",
        carrier=typed("carrier"),
        parcel_ref=typed("parcel_ref"),
        answers_note=typed("answers_note"),
        **chosen,
    )

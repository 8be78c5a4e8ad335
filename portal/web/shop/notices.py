"""`/shop/notices/<number>`: the formal path for a device that nobody collects. It shows; the keeper decides."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from flask import Response, abort, g, render_template, request
from flask.typing import ResponseReturnValue

from portal.actions import formal_notices as deeds
from portal.actions import formal_path
from portal.actions.desk import By, Desk, Outcome, find
from portal.actions.formal_notices import Sold, Typed
from portal.actions.formal_path import Path
from portal.letters import formal
from portal.rules.formal_notices import BECAUSE_WORDS, KIND_WORDS, PACKS, READ_WORDS, Kind, Pack
from portal.rules.sentences import Sentence
from portal.store import house, photos
from portal.store.tickets import Ticket
from portal.web.bench.doing import Deed, do, form_context
from portal.web.forms import Answer, typed
from portal.web.request_context import connection, desk, installation, local_today, policy, refresh
from portal.web.shop import blueprint
from portal.web.uploads import MEGABYTES


@dataclass(frozen=True)
class Sheet:
    """What every print page has; a letter or a pack is printed on A4."""

    sheet: str = "docket-a4"
    warnings: Sequence[Sentence] = ()


@dataclass(frozen=True)
class PackSheet(Sheet):
    """What the printed pack shows. `checked_at` is when the keeper said that they checked it."""

    pack: Pack | None = None
    checked_at: datetime | None = None


@blueprint.get("/notices/law")
def formal_pack() -> ResponseReturnValue:
    """What the law in the policy asks for, each point with how far it was looked up; none without a law."""
    pack = PACKS[policy().collection.law] or abort(404)
    page = PackSheet(pack=pack, checked_at=house.when(connection(), formal_path.checked(pack)))
    return render_template("print/formal_pack.html", page=page, kind_words=KIND_WORDS, read_words=READ_WORDS)


@blueprint.get("/notices/<number>")
def notices(number: str) -> ResponseReturnValue:
    """Where a device stands, its letters, and the form for another."""
    return notices_page(find(connection(), number))


@blueprint.post("/notices/<number>")
def make_notice(number: str) -> ResponseReturnValue:
    """Write a letter."""
    letter = Typed(
        recipient=typed("recipient"),
        address=typed("address"),
        goods=typed("goods"),
        held_at=typed("held_at"),
        owed=typed("owed"),
        owed_for=typed("owed_for"),
        post_on=typed("post_on"),
        sell_from=typed("sell_from"),
        satisfied=typed("satisfied") == "1",
        was_due=typed("was_due") == "1",
        checked=typed("checked") == "1",
    )
    return _do(number, "make", partial(deeds.make, kind=typed("kind"), typed=letter))


@blueprint.post("/notices/<number>/<int:notice>/posted")
def notice_posted(number: str, notice: int) -> ResponseReturnValue:
    """Enter that a letter went by recorded post."""
    file = request.files.get("photo")
    photo = file.stream.read() if file and file.filename else b""
    refresh()  # a photo may wait for its turn, and must not hold the database meanwhile

    def deed(at: Desk, by: By, number: str, *, seen: int, deed_key: str | None) -> Outcome:
        files, day, reference = installation().photo_files, typed("posted_on"), typed("reference")
        return deeds.post(at, files, by, number, notice, day, reference, photo=photo, seen=seen, deed_key=deed_key)

    return _do(number, f"posted-{notice}", deed)


@blueprint.post("/notices/<number>/<int:notice>/back")
def take_notice_back(number: str, notice: int) -> ResponseReturnValue:
    """A letter counts no more."""
    deed = partial(deeds.take_back, notice_id=notice, because=typed("because"), words=typed("words"))
    return _do(number, f"back-{notice}", deed)


@blueprint.post("/notices/<number>/untraced")
def owner_untraced(number: str) -> ResponseReturnValue:
    """The owner cannot be traced."""
    deed = partial(deeds.untraced, words=typed("words"), satisfied=typed("satisfied") == "1")
    return _do(number, "untraced", deed)


@blueprint.post("/notices/<number>/traced")
def owner_traced(number: str) -> ResponseReturnValue:
    """The owner was found after all."""
    return _do(number, "traced", deeds.traced)


@blueprint.post("/notices/<number>/sold")
def sold_by_law(number: str) -> ResponseReturnValue:
    """Write down that it was sold."""
    sold = Sold(typed("on"), typed("proceeds"), typed("costs"), typed("advice"), typed("rest"))
    return _do(number, "sold", partial(deeds.write_down_sale, sold=sold))


@blueprint.get("/notices/<number>/<int:notice>/letter")
def notice_letter(number: str, notice: int) -> ResponseReturnValue:
    """A letter, to print, in the language of the law."""
    ticket, kept, made_under = formal_path.letter_of(desk(), connection(), number, notice)
    g.language = formal.its_language(made_under)
    return render_template("print/formal_notice.html", page=Sheet(), **formal.facts(ticket, kept, made_under))


@blueprint.get("/notices/<number>/<int:notice>/file")
def notice_file(number: str, notice: int) -> Response:
    """A letter, to be saved."""
    found = formal.file(*formal_path.letter_of(desk(), connection(), number, notice))
    answer = Response(found.content, mimetype=found.media_type)
    answer.headers.set("Content-Disposition", "attachment", filename=found.name)
    return answer


def notices_page(found: Ticket, answer: Answer | None = None, form: str = "") -> ResponseReturnValue:
    """The page, after a refusal with everything typed still in it."""
    answer = answer or Answer()
    path = formal_path.path(desk(), connection(), found)
    page = render_template(
        "shop/notices.html",
        ticket=found,
        path=path,
        kinds=_offered(path),
        kind_words=KIND_WORDS,
        read_words=READ_WORDS,
        because_words=BECAUSE_WORDS,
        proofs=photos.called(connection(), found.id),
        today=local_today(),
        currency=policy().shop.currency,
        formal=policy().formal,
        megabytes=MEGABYTES,
        **form_context(answer, form),
    )
    return page, answer.status


def _offered(path: Path) -> Sequence[Kind]:
    """The letters to write; none where the device is not ready, or a letter of the kind stands."""
    standing = path.standing
    counting = {kept.kind for kept in standing.letters if not kept.taken_back and kept.id not in standing.stops}
    is_open = path.pack and standing.case.is_ready and not standing.case.is_disputed
    return [kind for kind in Kind if kind not in counting] if is_open else []


def _do(number: str, name: str, deed: Deed) -> ResponseReturnValue:
    return do(number, name, deed, notices_page, "shop.notices")

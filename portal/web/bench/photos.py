"""Photos of a ticket: taken with the phone at the bench, several at once; shown, and withdrawn."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from flask import Response, abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import photos as deeds
from portal.actions.desk import find
from portal.rules.numbers import parse_number, spoken
from portal.rules.photo_moments import MOMENT_WORDS
from portal.rules.publication import ALLOWS
from portal.rules.sentences import Sentence, say
from portal.store import photo_pairs, publication
from portal.store import photos as store
from portal.store.tickets import Ticket
from portal.web import guard
from portal.web.bench import blueprint
from portal.web.forms import Answer, DeedForm, Filled, attempt, checked_form, new_deed_key, typed
from portal.web.photo_answers import picture
from portal.web.request_context import connection, desk, installation, refresh
from portal.web.uploads import MEGABYTES, MOST_AT_ONCE, STATUS

_DONE = {
    "said": say("What is said of the photo is kept."),
    "hidden": say("It is hidden for good."),
    "pointed-out": say("A copy that points it out is there."),
    "publication": say("It is noted what may be published."),
}
_TOO_MANY = say(
    "At most {most} photos fit at once. None was kept; please send them in smaller groups.", most=MOST_AT_ONCE
)


@dataclass(frozen=True)
class Rejected:
    """A file that was not taken, and why. The name is the sender's own, shown to them alone."""

    name: str
    reasons: tuple[Sentence, ...]


@blueprint.get("/<number>/photos")
def photos(number: str) -> ResponseReturnValue:
    """The ticket's photos, and the form for more."""
    return photos_page(find(connection(), number), Answer(), [])


@blueprint.post("/<number>/photos")
def add_photos(number: str) -> ResponseReturnValue:
    """Take photos in, each on its own: one that is refused does not hold the others up."""
    form = checked_form()
    canonical = spoken(parse_number(number))
    files = [file for file in request.files.getlist("photo") if file.filename]
    if len(files) > MOST_AT_ONCE:
        return photos_page(find(connection(), canonical), Answer(reasons=(_TOO_MANY,), status=422), [])
    rejected, status, key, by = [], 422, form.key(), guard.me().by
    refresh()  # a photo may wait for its turn, and must not hold the database meanwhile
    for place, file in enumerate(files):
        deed = partial(
            deeds.add,
            desk(),
            installation().photo_files,
            by,
            canonical,
            file.stream.read(),
            moment=typed("moment") or "other",
            caption=typed("caption"),
            audience="bench" if typed("audience") == "bench" else "customer",
            confirmed=typed("use_anyway") == "1",
            deed_key=f"{key[:30]}{place:02}" if key else None,
        )
        answer = attempt(deed)
        if not answer.done:
            rejected.append(Rejected(file.filename or "", tuple(answer.reasons)))
            status = STATUS.get(answer.kind, status)
    if files and not rejected:
        return redirect(url_for(".photos", number=canonical), 303)
    refresh()
    nothing = () if files else (say("No photo was chosen. Choose one, or take one with the camera."),)
    return photos_page(find(connection(), canonical), Answer(reasons=nothing, status=status), rejected)


@blueprint.post("/<number>/photos/<ref>/withdraw")
def withdraw_photo(number: str, ref: str) -> ResponseReturnValue:
    """Take a photo away for good."""
    form = checked_form()
    canonical = spoken(parse_number(number))
    deeds.withdraw(desk(), installation().photo_files, guard.me().by, canonical, ref, deed_key=form.key())
    return redirect(url_for(".photos", number=canonical), 303)


@blueprint.get("/<number>/photos/<ref>-<size>.jpg")
def photo(number: str, ref: str, size: str) -> Response:
    """One photo of this ticket, or the aligned picture of a pair of it."""
    found = store.by_ref(connection(), ref) or photo_pairs.by_aligned(connection(), ref)
    if found is None or found.ticket_id != find(connection(), number).id:
        abort(404)
    return picture(ref, size)


def photos_page(found: Ticket, answer: Answer, rejected: list[Rejected]) -> ResponseReturnValue:
    """The page; after a refusal with the words still in it (browsers never send a chosen file back)."""
    page = render_template(
        "bench/photos.html",
        ticket=found,
        photos=store.of_ticket(connection(), found.id),
        pairs=photo_pairs.of_ticket(connection(), found.id),
        allows=ALLOWS,
        allowed=publication.standing(connection(), found.id),
        done=_DONE.get(request.args.get("done", "")) if answer.done else None,
        moments=MOMENT_WORDS,
        most=MOST_AT_ONCE,
        megabytes=MEGABYTES,
        answer=answer,
        rejected=rejected,
        typed=Filled(request.values),
        deed_key=new_deed_key(),
        csrf=DeedForm(),
    )
    return page, answer.status

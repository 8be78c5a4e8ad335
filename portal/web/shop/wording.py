"""`/shop/wording`: what messages say, in each language; looked at with a real repair before it is saved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from flask import abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from portal.actions import wording as deeds
from portal.actions.desk import find
from portal.actions.wording import WordsMoved, occasion_called
from portal.language import language
from portal.letters.own_words import parts_of, shipped
from portal.letters.previews import Preview, preview
from portal.rules import wording as rules
from portal.rules.refusals import Refused
from portal.rules.sentences import Sentence
from portal.rules.wording import PART_WORDS, Fault, Occasion, Part
from portal.rules.wording_occasions import OCCASIONS
from portal.store import people, wordings
from portal.store.tickets import Ticket
from portal.store.wordings import Wording
from portal.web import guard
from portal.web.forms import Answer, attempt, typed
from portal.web.request_context import connection, desk, policy, refresh, speaking
from portal.web.shop import blueprint
from portal.web.shop.proposal import seen_revision


@blueprint.get("/wording")
def all_words() -> ResponseReturnValue:
    """Every message, and in which languages the shop has words of its own for it."""
    return render_template(
        "shop/wordings.html",
        occasions=[(each, deeds.languages_of(each, policy())) for each in OCCASIONS.values()],
        own=wordings.newest_ones(connection()),
    )


@blueprint.get("/wording/<event>/<key>/<tag>")
def words(event: str, key: str, tag: str) -> ResponseReturnValue:
    """The words of one message in one language, to change."""
    occasion = _spoken(event, key, tag)
    return _page(occasion, tag, Answer(), _in_force(occasion, tag))


@blueprint.post("/wording/<event>/<key>/<tag>")
def change_words(event: str, key: str, tag: str) -> ResponseReturnValue:
    """Look at words, or save them."""
    occasion = _spoken(event, key, tag)
    own = _typed_words(occasion, tag)
    if typed("do") != "save":
        return _page(occasion, tag, Answer(), own)

    def save() -> int:
        return deeds.save_words(
            desk(), guard.me().by, occasion, tag, own, seen=seen_revision(), confirmed=typed("confirmed") == "1"
        )

    return _answered(occasion, tag, attempt(save), own)


@blueprint.post("/wording/<event>/<key>/<tag>/back")
def words_back(event: str, key: str, tag: str) -> ResponseReturnValue:
    """Go back to an earlier revision, or to the program's words."""
    occasion = _spoken(event, key, tag)
    wanted = typed("revision")
    revision = int(wanted) if wanted.isdecimal() and len(wanted) < 10 else abort(400)
    answer = attempt(lambda: deeds.go_back(desk(), guard.me().by, occasion, tag, revision, seen=seen_revision()))
    return _answered(occasion, tag, answer, None)


def _answered(occasion: Occasion, tag: str, answer: Answer, own: Mapping[Part, str] | None) -> ResponseReturnValue:
    if answer.done:
        return redirect(
            url_for("shop.words", event=occasion.event, key=occasion.key, tag=tag, saved=answer.result), 303
        )
    if answer.kind is WordsMoved:
        answer.status = 409
    refresh()
    return _page(occasion, tag, answer, _in_force(occasion, tag) if own is None else own)


def _spoken(event: str, key: str, tag: str) -> Occasion:
    occasion = occasion_called(event, key)
    if tag not in deeds.languages_of(occasion, policy()):
        abort(404)
    return occasion


def _brought(occasion: Occasion, tag: str) -> dict[Part, str]:
    """The program's own words, by part."""
    spoken = language(tag, policy().shop.zone)
    return {part: shipped(spoken, *occasion.name, part) for part in parts_of(occasion.event)}


def _in_force(occasion: Occasion, tag: str) -> Mapping[Part, str]:
    found = wordings.spoken(connection(), *occasion.name, [tag])
    return found.words if found else {}


def _typed_words(occasion: Occasion, tag: str) -> dict[Part, str]:
    """What was typed, by part; the program's own words, left as they were, are none of the shop's."""
    brought = _brought(occasion, tag)
    own = {part: rules.as_typed(typed(f"words.{part}")) for part in brought}
    return {part: "" if text.split() == brought[part].split() else text for part, text in own.items()}


@dataclass(frozen=True)
class _Field:
    """One part on the page."""

    part: Part
    label: Sentence
    text: str  # the shop's own words, or the program's
    is_own: bool
    faults: list[Fault]
    reads: str

    @property
    def rows(self) -> int:
        """How high its field begins."""
        return 1 if self.part is Part.SUBJECT else max(3, self.text.count("\n") + 2)


def _page(occasion: Occasion, tag: str, answer: Answer, own: Mapping[Part, str]) -> ResponseReturnValue:
    brought, shown = _brought(occasion, tag), request.values.get("ticket", "")
    ticket, no_ticket = _ticket(shown)
    looked = preview(desk(), connection(), occasion, tag, own, ticket)
    found = wordings.revisions(connection(), *occasion.name, tag)
    page = render_template(
        "shop/wording.html",
        occasion=occasion,
        tag=tag,
        answer=answer,
        fields=_fields(occasion, own, brought, looked),
        looked=looked,
        cost=_cost(looked),
        dear=deeds.dear(occasion, policy(), desk().links.base_url, tag, own.get(Part.SMS, "")),
        ticket=ticket,
        shown=shown,
        no_ticket=no_ticket,
        revisions=found,
        own_parts=_own_parts,
        part_words=PART_WORDS,
        names={person.id: person.name for person in people.everybody(connection())},
        seen=found[0].revision if found else 0,
        saved=request.args.get("saved", ""),
        posted=request.method == "POST",
    )
    return page, answer.status


def _fields(occasion: Occasion, own: Mapping[Part, str], brought: Mapping[Part, str], looked: Preview) -> list[_Field]:
    return [
        _Field(
            part,
            PART_WORDS[part],
            own.get(part) or words,
            bool(own.get(part)),
            rules.check(occasion, part, own.get(part, "")),
            looked.parts[part],
        )
        for part, words in brought.items()
    ]


def _own_parts(revision: Wording) -> list[tuple[Part, str]]:
    return [(part, text) for part, text in revision.words.items() if text]


def _ticket(number: str) -> tuple[Ticket | None, Sentence | None]:
    """The repair to look at the words with, and why there is none where one was wanted."""
    if not number.strip():
        return None, None
    try:
        return find(connection(), number), None
    except Refused as refused:
        return None, refused.reasons[0]
    except LookupError as missing:
        return None, getattr(missing, "reason", None)


def _cost(looked: Preview) -> str:
    """What one text message costs the shop, or "" where nobody knows."""
    price, shop = policy().messages.sms_price, policy().shop
    return speaking().exact_money(price * looked.sms.segments, shop.currency) if price and looked.sms else ""

"""The shop's own words for a message, in place of the templates'; and the templates' words with placeholders.

What stands for each placeholder is a short template of its own, rendered with what the message is about, so that days,
amounts and sentences read as they do in the program's own words. Its result is text: it is never read as a template.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from types import SimpleNamespace
from typing import Any

import jinja2
from sqlalchemy import Connection

from portal import resources
from portal.language import Language
from portal.letters.rendering import environment
from portal.letters.told import Facts
from portal.rules.stages import Ending
from portal.rules.wording import Paragraph, Part, filled, in_braces, named
from portal.rules.wording_occasions import ALWAYS, EVENTS, PLACEHOLDERS
from portal.store import wordings
from portal.store.wordings import Wording

LINKS = ("link", "choose_link")  # what the HTML part makes links of
# What takes more than a line of template; the program's own words include the same files.
_FILES: Mapping[str, str] = {
    "devices": "messages/taken_in/_devices.txt",
    "agreed": "messages/taken_in/_agreed.txt",
    "photos": "messages/noted/_photos.txt",
    "answers": "messages/answered/_answers.txt",
    "options": "messages/_options.txt",
    "answered": "messages/question_answered/_answered.txt",
    "storage": "messages/uncollected/_storage.txt",
    "cancelling": "messages/_cancelling.txt",
}
# What stands for each placeholder. A test holds them to the list of placeholders.
VALUES: Mapping[str, str] = {
    "shop": "{{ shop.name }}",
    "shop_briefly": "{{ shop_briefly }}",
    "shop_phone": "{{ shop.phone }}",
    "name": "{{ contact.name }}",
    "number": "{{ number }}",
    "device": "{{ tickets | map(attribute='device') | unique | join(', ') }}",
    "link": "{{ link }}",
    "count": "{{ tickets | length }}",
    "stage": "{{ stage.label | words }}",
    "stage_sentence": "{{ stage.sentence | words }}",
    "notes": "{{ notes | join('\n\n') }}",
    "corrections": "{{ corrections | join('\n\n') }}",
    "code": "{{ code }}",
    "to_pay": "{% if owing_minor %}{{ owing_minor | money(shop.currency) }}{% endif %}",
    "hours": "{{ hours | join('\n') }}",
    "choose_link": "{{ choose_link }}",
    "posted_on": "{{ parcel.posted_on | day }}",
    "carrier": "{{ parcel.carrier }}",
    "reference": "{{ parcel.reference }}",
    "ready_since": "{{ ready_on | day }}",
    "found": "{{ offer.found }}",
    "answer_by": "{{ answer_by | moment }}",
    "bill": "{% from 'messages/_bill.txt' import bill as all %}{% if bill %}{{ all(bill, offer.terms) }}{% endif %}",
    "check_value": "{{ digest }}",
    "terms": "{{ terms | say }}",
    "consequences": "{% for each in sentences %}{{ each | say }}{{ '' if loop.last else '\n\n' }}{% endfor %}",
    "owed_back": "{% if owed_minor %}{{ owed_minor | money(shop.currency) }}{% endif %}",
    "owed_by": "{% if due_on %}{{ due_on | day }}{% endif %}",
    "right": "{{ right | say }}",
    "answer_due": "{% if answer_due %}{{ answer_due | day }}{% endif %}",
    "written": "{{ written }}",
    "remedies": "{{ remedies | say }}",
    "used_from": "{% if used_from %}{{ used_from | day }}{% endif %}",
    "price": "{% if dearest %}{{ dearest | money(shop.currency) }}{% endif %}",
    "why": "{{ why }}",
    "complaint": "{{ complaint }}",
    "because": "{{ because | say }}",
    "window": "{% if window %}{{ window | say }}{% endif %}",
    "days": "{{ days or '' }}",
    "answer": "{{ answer }}",
    "finding": "{{ found | say }}",
    "paid_by": "{{ paid_by | say }}",
    "explained": "{{ words }}",
    **{name: f"{{% include '{file}' %}}" for name, file in _FILES.items()},
}
_ENDED: Mapping[object, str] = {Ending.RETURNED: "unrepaired", Ending.GIVEN_UP: "given_up"}


def _noted(words: Facts) -> str:
    return "corrections" if words["corrections"] else "notes" if words["notes"] else "photos"


def _put(words: Facts) -> str:
    return ("estimate" if words["is_estimate"] else "extra") + ("_anew" if words["anew"] else "")


# Which occasion of an event a message is for; an event that is not here has but one.
_OCCASIONS: Mapping[str, Callable[[Facts], str]] = {
    "taken_in": lambda words: "one" if len(words["tickets"]) == 1 else "several",
    "noted": _noted,
    "question_put": _put,
    "question_answered": lambda words: "agreed" if words["agreed"] else "declined",
    "uncollected": lambda words: str(words["tone"]),
    "ended": lambda words: _ENDED.get(words["ending"], "handed_over"),
    "cancelled": lambda words: "undone" if words["undone"] else "cancelled",
    "request_told": lambda words: str(words["what"]),
}


def own_words(connection: Connection, event: str, tag: str, words: Facts) -> Wording | None:
    """The shop's own words for a message as they stand now, in the reader's language or its plain form; or None.

    Words in another language are never taken: then the program's own go out, which are in the reader's.
    """
    if event not in EVENTS:
        return None
    occasion = occasion_of(event, words)
    found = wordings.spoken(connection, event, occasion, list(dict.fromkeys((tag, tag.split("-")[0]))))
    return found if found and found.is_own else None


def occasion_of(event: str, words: Facts) -> str:
    """The key of the occasion that a message is for."""
    which = _OCCASIONS.get(event)
    return which(words) if which else ALWAYS


def said(wording: Wording | None, part: Part, words: Mapping[str, Any]) -> tuple[Paragraph, ...]:
    """A part in the shop's own words, filled in; () where the program's own go out."""
    if wording is None or not wording.words[part]:
        return ()
    own = wording.words[part]
    return filled(part, own, values_of(words["language"], words, [name for name in named(own) if name in VALUES]))


def values_of(language: Language, words: Mapping[str, Any], names: Iterable[str]) -> dict[str, str]:
    """What stands for the placeholders of these names in a message about `words`; without what it does not know."""
    found = {}
    for name in names:
        try:
            found[name] = _value(language, name).render(words).strip()
        except jinja2.UndefinedError:
            continue
    return found


@cache
def _value(language: Language, name: str) -> jinja2.Template:
    # The value is text: what is HTML is escaped where it is put into HTML.
    return environment(language).overlay(autoescape=False).from_string(VALUES[name])


def parts_of(event: str) -> list[Part]:
    """The parts that a message has words for."""
    folder = resources.templates() / "messages" / event
    return [part for part in Part if (folder / f"{part.value}.txt").is_file()]


@cache
def shipped(language: Language, event: str, key: str, part: Part) -> str:
    """The program's own words for a part, with placeholders where a message has its facts.

    They are the templates' words, rendered with each fact standing for itself; so they can never differ.
    """
    facts = {**_FACTS, **_OF_OCCASION.get((event, key), {})}
    text = _with_placeholders(language).get_template(f"messages/{event}/{part.value}.txt")
    whole = "".join(text.blocks["words"](text.new_context(facts))) if part is Part.TEXT else text.render(facts)
    return _tidy(whole)


def _tidy(text: str) -> str:
    lines = [" ".join(line.split()) for line in text.strip().split("\n")]
    kept = [line for place, line in enumerate(lines) if line or lines[place - 1]]
    return "\n".join(kept)


class _Count(int):
    """How many, as a plural wants it; written, it stands for itself."""

    def __str__(self) -> str:
        return _fact("count")


class _Several(list[Any]):
    """One fact that counts as several."""


def _fact(name: str) -> str:
    return in_braces(name)


_DEVICE = SimpleNamespace(device=_fact("device"), number=_fact("number"))
_FACTS: Mapping[str, Any] = {
    **{name: _fact(name) for name in PLACEHOLDERS},
    "shop": SimpleNamespace(name=_fact("shop"), phone=_fact("shop_phone"), currency=""),
    "contact": SimpleNamespace(name=_fact("name")),
    "ticket": _DEVICE,
    "tickets": [_DEVICE],
    "prices": {"": ""},
    "stage": SimpleNamespace(label=_fact("stage"), sentence=_fact("stage_sentence")),
    "notes": [_fact("notes")],
    "corrections": [],
    "photos": True,
    "owing_minor": _fact("to_pay"),
    "hours": [_fact("hours")],
    "parcel": SimpleNamespace(posted_on=_fact("posted_on"), carrier=_fact("carrier"), reference=_fact("reference")),
    "ready_on": _fact("ready_since"),
    "storage_from": True,
    "offer": SimpleNamespace(found=_fact("found"), terms=SimpleNamespace(currency="")),
    "digest": _fact("check_value"),
    "dearest": _fact("price"),
    "sentences": [_fact("consequences")],
    "owed_minor": _fact("owed_back"),
    "due_on": _fact("owed_by"),
}
_OF_OCCASION: Mapping[tuple[str, str], Mapping[str, Any]] = {
    ("taken_in", "several"): {"tickets": _Several([_DEVICE])},
    ("noted", "corrections"): {"corrections": [_fact("corrections")]},
    ("noted", "photos"): {"notes": [], "photos": 1},
    **{
        ("question_put", f"{kind}{anew}"): {"is_estimate": kind == "estimate", "anew": bool(anew)}
        for kind in ("estimate", "extra")
        for anew in ("", "_anew")
    },
    ("question_answered", "agreed"): {"agreed": True},
    ("question_answered", "declined"): {"agreed": False},
    ("ended", "handed_over"): {"ending": Ending.COLLECTED},
    ("ended", "unrepaired"): {"ending": Ending.RETURNED},
    ("ended", "given_up"): {"ending": Ending.GIVEN_UP},
    **{(each.event, each.key): {"tone": each.key} for each in EVENTS["uncollected"]},
    ("cancelled", "cancelled"): {"undone": False, "overruled": False},
    ("cancelled", "undone"): {"undone": True, "overruled": False},
    **{(each.event, each.key): {"what": each.key} for each in EVENTS["request_told"]},
    ("fault_compared", ALWAYS): {"found": _fact("finding"), "words": _fact("explained")},
}


@cache
def _with_placeholders(language: Language) -> jinja2.Environment:
    """The templates of a language, where whatever is put in comes out as it stands."""
    shown = environment(language).overlay(
        loader=jinja2.ChoiceLoader(
            [
                jinja2.DictLoader(
                    {file: f"{_fact(name)}\n\n" for name, file in _FILES.items()}
                    | {"messages/_bill.txt": f"{{% macro bill(option, terms) %}}{_fact('bill')}\n{{% endmacro %}}"}
                ),
                jinja2.FileSystemLoader(str(resources.templates())),
            ]
        )
    )
    shown.filters = shown.filters | dict.fromkeys(("number", "words", "day", "money", "say", "moment"), _as_it_stands)
    shown.filters["length"] = lambda facts: _Count(2) if isinstance(facts, _Several) else len(facts)
    return shown


def _as_it_stands(fact: object, *_rest: object) -> object:
    return fact

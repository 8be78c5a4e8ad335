"""The keeper changes what messages say: each change is a new revision, and goes into what is written from then on."""

from __future__ import annotations

from collections.abc import Mapping

from sqlalchemy import Connection
from sqlalchemy.exc import IntegrityError

from portal.actions.desk import By, Desk, NotFound
from portal.language import language as spoken_language
from portal.rules import wording as rules
from portal.rules.policy import Policy
from portal.rules.refusals import AskFirst, Refused
from portal.rules.sentences import Sentence, say
from portal.rules.sms import plain
from portal.rules.text import passage
from portal.rules.wording import Fault, Occasion, Part
from portal.rules.wording_occasions import OCCASIONS
from portal.store import wordings


class FaultyWords(Refused):
    """Words with faults; `faults` tells them by part and line. Nothing was saved."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__(*(fault.sentence() for fault in faults))
        self.faults = faults


class WordsMoved(Refused):
    """The words have a newer revision than the one a form was made from. Nothing was saved."""


def occasion_called(event: str, key: str) -> Occasion:
    """The occasion of these names. Raises NotFound."""
    found = OCCASIONS.get((event, key))
    if found is None:
        raise NotFound(say("There is no such message."))
    return found


def languages_of(occasion: Occasion, policy: Policy) -> list[str]:
    """The languages in which an occasion's words are read: the shop's; by the staff its first."""
    return policy.shop.languages[:1] if occasion.for_staff else policy.shop.languages


def save_words(
    desk: Desk,
    by: By,
    occasion: Occasion,
    tag: str,
    typed: Mapping[Part, str],
    *,
    seen: int | None = None,
    confirmed: bool = False,
) -> int:
    """Make these the words of an occasion in one language, and tell the revision; "" stands for the program's own.

    The words of the newest revision make no second one, so a form posted twice has one effect. `seen` is the revision
    that a form was made from. Raises FaultyWords with every fault, WordsMoved, AskFirst for a text message that goes
    out as several, NotFound for a language in which nobody reads it.
    """
    words = {part: rules.as_typed(typed.get(part, "")) for part in Part}
    faults = [fault for part in Part for fault in rules.check(occasion, part, words[part])]
    if faults:
        raise FaultyWords(faults)
    kept = {part: _kept(part, text) for part, text in words.items()}
    with desk.writing() as connection:
        policy = desk.policy(connection)
        _must_be_read(occasion, policy, tag)
        if not confirmed and (warning := dear(occasion, policy, desk.links.base_url, tag, kept[Part.SMS])):
            raise AskFirst(warning)
        return _add(desk, connection, by, occasion, tag, kept, seen)


def go_back(desk: Desk, by: By, occasion: Occasion, tag: str, revision: int, *, seen: int | None = None) -> int:
    """Make the words of an earlier revision the newest; 0 goes back to the program's own. Tells the new revision.

    Raises NotFound for a revision that never was, WordsMoved, FaultyWords where they no longer fit.
    """
    words: Mapping[Part, str] = {}
    if revision:
        with desk.reading() as connection:
            found = wordings.revisions(connection, *occasion.name, tag)
        earlier = next((each for each in found if each.revision == revision), None)
        if earlier is None:
            raise NotFound(say("There is no revision {revision} of these words.", revision=revision))
        words = earlier.words
    return save_words(desk, by, occasion, tag, words, seen=seen, confirmed=True)


def dear(occasion: Occasion, policy: Policy, base_url: str, tag: str, words: str) -> Sentence | None:
    """The warning where a text message of usual length would go out as several, or None."""
    said = rules.filled(Part.SMS, words, examples(occasion, policy, base_url, tag)) if words.strip() else ()
    return rules.dear(plain(rules.as_text(said)))


def examples(occasion: Occasion, policy: Policy, base_url: str, tag: str) -> dict[str, str]:
    """Something usual for each placeholder, in a language; the shop's own name, and links as long as real ones."""
    speaking = spoken_language(tag, policy.shop.zone)
    made_up = {name: speaking.say(each.example) for name, each in occasion.placeholders.items()}
    link = f"{base_url}/bench/4711-3" if occasion.for_staff else f"{base_url}/t/{'C' + 'X' * 36}"
    own = {
        "shop": policy.shop.name,
        "shop_briefly": rules.briefly(policy.shop.name),
        "shop_phone": policy.shop.phone,
        "link": link,
        "choose_link": f"{link}/collect",
    }
    if occasion.for_staff:
        own["name"] = "Kim"
    return made_up | {name: value for name, value in own.items() if name in made_up}


def _kept(part: Part, words: str) -> str:
    return passage(part.value, rules.PART_WORDS[part], words, limit=rules.MOST[part])


def _must_be_read(occasion: Occasion, policy: Policy, tag: str) -> None:
    if tag not in languages_of(occasion, policy):
        raise NotFound(say("Nobody reads this message in this language."))


def _add(
    desk: Desk,
    connection: Connection,
    by: By,
    occasion: Occasion,
    tag: str,
    words: Mapping[Part, str],
    seen: int | None,
) -> int:
    found = wordings.revisions(connection, *occasion.name, tag)
    newest = found[0].revision if found else 0
    if words == (found[0].words if found else dict.fromkeys(Part, "")):
        return newest
    if seen is not None and seen != newest:
        raise _moved()
    try:
        with connection.begin_nested():
            wordings.add(connection, *occasion.name, tag, newest + 1, words, desk.clock.now(), by.staff_id)
    except IntegrityError:  # PostgreSQL: somebody was faster
        raise _moved() from None
    return newest + 1


def _moved() -> WordsMoved:
    return WordsMoved(
        say("These words were changed meanwhile. What is in force now stands below; look at both, then save again.")
    )

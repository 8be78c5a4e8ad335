"""Every language says everything that English says, with the same facts in it."""

from __future__ import annotations

import re
import tomllib

import pytest
from babel.messages.catalog import Catalog, Message

from portal import resources
from portal.language import SOURCE, language
from portal.locale.update import catalogues, read, sources, untranslated
from portal.rules.policy import Policy
from portal.rules.policy_check import check
from portal.rules.sentences import say

PLACEHOLDERS = re.compile(r"\{(\w*)[^{}]*\}|%\((\w+)\)[a-z]")
TAGS = re.compile(r"</?\w+")
IN_STEP = "run python -m portal.locale.update"


@pytest.fixture(scope="module")
def said() -> Catalog:
    return sources()


@pytest.fixture(scope="module", params=catalogues().items(), ids=lambda item: item[0])
def catalogue(request: pytest.FixtureRequest) -> Catalog:
    return read(request.param[1])


def texts(catalogue: Catalog) -> list[Message]:
    return [message for message in catalogue if message.id]


def both_sides(message: Message) -> list[tuple[str, str]]:
    """A text with each of its translations; plurals are held against their plural."""
    if not message.pluralizable:
        return [(message.id, message.string)]
    return list(zip(message.id, message.string, strict=False))


def test_there_is_a_catalogue_for_each_language_of_the_default_policy():
    spoken = Policy.model_validate(tomllib.loads(resources.default_policy().read_text(encoding="utf-8"))).shop.languages

    assert {tag for tag in spoken if tag != SOURCE} == set(catalogues())


def test_every_text_stands_in_the_catalogue(catalogue: Catalog, said: Catalog):
    assert [message.id for message in texts(said) if message.id not in catalogue] == [], IN_STEP


def test_the_catalogue_has_no_text_that_nobody_says(catalogue: Catalog, said: Catalog):
    assert [message.id for message in texts(catalogue) if message.id not in said] == [], IN_STEP
    assert list(catalogue.obsolete) == [], IN_STEP


def test_every_text_is_translated(catalogue: Catalog):
    assert [message.id for message in untranslated(catalogue)] == []


def test_a_translation_has_the_facts_of_its_text(catalogue: Catalog):
    def facts(text: str) -> set[str]:
        return {curly or percent for curly, percent in PLACEHOLDERS.findall(text)}

    wrong = [
        (text, translation)
        for message in texts(catalogue)
        for text, translation in both_sides(message)
        if translation and facts(text) != facts(translation)
    ]
    assert wrong == []


def test_a_translation_has_the_markup_and_the_edges_of_its_text(catalogue: Catalog):
    def shape(text: str) -> tuple[object, ...]:
        return sorted(TAGS.findall(text)), text[:1].isspace(), text[-1:].isspace()

    wrong = [
        (text, translation)
        for message in texts(catalogue)
        for text, translation in both_sides(message)
        if translation and shape(text) != shape(translation)
    ]
    assert wrong == []


def test_german_quotes_open_below():
    wrong = [
        translation
        for message in texts(read(catalogues()["de"]))
        for _text, translation in both_sides(message)
        if "”" in translation or translation.count("„") != translation.count("“")
    ]
    assert wrong == []


def test_the_default_policy_has_no_fault_and_so_speaks_each_of_its_languages():
    assert [str(fault) for fault in check(resources.default_policy().read_text(encoding="utf-8"))] == []


def test_a_sentence_is_said_in_german_with_its_facts():
    german = language("de", "Europe/Berlin")

    sentence = say("{what} is missing. Please fill it in.", what=say("The note"))

    assert german.say(sentence) == "Die Notiz fehlt. Bitte ausfüllen."


def test_a_language_without_a_catalogue_speaks_english():
    assert language("fr", "Europe/Paris").gettext("Log out") == "Log out"

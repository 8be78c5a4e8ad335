"""What became of a message is said in the reader's language, and by which way it went in words for people."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import notifications
import portal
from portal.language import language
from portal.rules.messages import POST, Channel, channel_words
from portal.rules.outcomes import journal_text, outcome_words

ENGLISH, GERMAN = language("en", "Europe/London"), language("de", "Europe/Berlin")
# Whoever is called so is handed a reason that is kept with a message.
SAYS_WHY = {
    "Withdrawn",
    "Unreachable",
    "TryLater",
    "Hopeless",
    "LineBroke",
    "ChannelDown",
    "_Gone",
    "withdraw",
    "withdraw_all",
    "_not_this_way",
    "_in_doubt",
    "_give_up",
    "_later",
    "_line_broke",
}


def reasons() -> Iterator[str]:
    """Every reason that the program itself writes down, with something in the places of what differs."""
    house = Path(str(portal.__file__)).parent
    for room in (Path(str(notifications.__file__)).parent, house / "letters", house / "actions"):
        for file in room.rglob("*.py"):
            for each in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
                yield from filter(None, _said_by(each) if isinstance(each, ast.Call) else _named(each))


def _said_by(call: ast.Call) -> list[str]:
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    return [_text(argument) for argument in call.args] if name in SAYS_WHY else []


def _named(made: ast.AST) -> list[str]:
    if not isinstance(made, ast.Assign):
        return []
    names = {target.id for target in made.targets if isinstance(target, ast.Name)}
    return [_text(made.value)] if names & {"why", "NO_EXTRA"} else []


def _text(value: ast.expr) -> str:
    """A literal as it is, a filled one with its values made up; "" for what is neither, or begins with a value."""
    if isinstance(value, ast.Constant):
        return str(value.value) if isinstance(value.value, str) else ""
    if not isinstance(value, ast.JoinedStr) or not isinstance(value.values[0], ast.Constant):
        return ""  # one that begins with a value is the other side's answer, or goes on from a reason
    return "".join(
        str(piece.value)
        if isinstance(piece, ast.Constant)
        else repr("push")
        if ast.unparse(piece.value).endswith(".via")  # type: ignore[attr-defined]
        else "X"
        for piece in value.values
    )


def test_each_reason_that_the_program_gives_is_said_in_the_readers_language() -> None:
    found = set(reasons())

    assert {"tried too often", "the contact is no longer on file", "the gateway answered X"} <= found
    for reason in found:
        sentence = outcome_words(reason)
        assert sentence.template != "{kept}", reason
        assert GERMAN.say(sentence) != ENGLISH.say(sentence)


@pytest.mark.parametrize(
    ("kept", "english", "german"),
    [
        ("the gateway answered 404", "the gateway answered 404", "das Gateway antwortete 404"),
        (
            "the push service answered 410: the device listens no more",
            "the push service answered 410: the device listens no more",
            "der Push-Dienst antwortete 410: Das Gerät hört nicht mehr zu",
        ),
        (
            "there is no channel 'sms' here",
            "the shop has nothing set up to reach anybody by text message",
            "die Werkstatt hat nichts eingerichtet, um jemanden per SMS zu erreichen",
        ),
        (
            "by 'push' it was taken, but nobody knows whether it was seen",
            "it was taken by a notice on a device, but nobody knows whether it was seen",
            "durch einen Hinweis auf einem Gerät angenommen, aber niemand weiß, ob sie gesehen wurde",
        ),
    ],
)
def test_a_reason_keeps_what_differs(kept: str, english: str, german: str) -> None:
    assert ENGLISH.say(outcome_words(kept)) == english
    assert GERMAN.say(outcome_words(kept)) == german


@pytest.mark.parametrize("answer", ["550 5.1.1 no such {mailbox}", "", "451 4.7.1 Greylisted, come again"])
def test_what_the_other_side_said_stays_as_it_was_given(answer: str) -> None:
    assert str(outcome_words(answer)) == GERMAN.say(outcome_words(answer)) == answer


def test_the_journal_says_a_reason_in_words_and_what_somebody_wrote_as_it_was_written() -> None:
    kept = "there is no channel 'sms' here"

    assert str(journal_text("undelivered_decided", kept)).startswith("the shop has nothing set up")
    assert str(journal_text("noted", kept)) == kept


@pytest.mark.parametrize("channel", [*Channel, POST])
def test_each_way_has_its_words(channel: str) -> None:
    said = channel_words(str(channel))

    assert ENGLISH.say(said).startswith("by ")
    assert ENGLISH.say(said) != GERMAN.say(said)


def test_a_way_that_is_not_known_is_called_by_its_name() -> None:
    assert str(channel_words("pigeon")) == "by “pigeon”"

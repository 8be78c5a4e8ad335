"""What a journal entry says to the customer and to the bench: in words, never in the keys it is stored by."""

from __future__ import annotations

import tomllib

import pytest

from portal import resources
from portal.language import language
from portal.rules.journal_words import for_bench, for_customer
from portal.rules.policy import Policy

POLICY = Policy.model_validate(tomllib.loads(resources.default_policy().read_text(encoding="utf-8")))
ENGLISH, GERMAN = language("en", "Europe/London"), language("de", "Europe/Berlin")


@pytest.mark.parametrize(
    ("event", "data", "english", "german"),
    [
        (
            "part_ordered",
            {"part": "1", "expected_on": "2026-03-10"},
            "We ordered a part, expected Tue, 10 Mar 2026.",
            "Di., 10. März 2026",
        ),
        ("part_arrived", {"part": "1", "how": "arrived"}, "The part came.", "Das Teil"),
        (
            "part_arrived",
            {"part": "1", "how": "wrong part"},
            "A part came, but not the right one. We see to it.",
            "nicht das richtige",
        ),
        (
            "part_arrived",
            {"part": "1", "how": "dead on arrival"},
            "A part came, but it does not work. We see to it.",
            "funktioniert",
        ),
        (
            "part_fitted",
            {"part": "1", "origin": "used, from a donor device"},
            "We fitted a part (used, taken from another device).",
            "gebraucht",
        ),
    ],
)
def test_the_customer_reads_of_parts_in_their_language(event: str, data: dict, english: str, german: str) -> None:
    says = for_customer(event, data, POLICY)

    assert says is not None
    assert ENGLISH.say(says) == english
    assert german in GERMAN.say(says)


@pytest.mark.parametrize(
    ("event", "data", "german"),
    [
        ("tested", {"check": "usb", "when": "before", "result": "fail"}, "funktioniert nicht"),
        ("part_arrived", {"part": "2", "how": "wrong part"}, "falsches Teil"),
    ],
)
def test_the_bench_reads_its_own_language_too(event: str, data: dict, german: str) -> None:
    assert german in GERMAN.say(for_bench(event, data, POLICY))


def test_a_check_is_called_what_the_policy_calls_it_for_that_kind_of_device() -> None:
    entry = {"check": "usb", "when": "after", "result": "pass"}
    kind = next(each for each in POLICY.kinds if each.check("usb"))

    assert str(for_bench("tested", entry, POLICY, kind.key)) == (
        "Test “Every USB port; its voltage under load” after the repair: works"
    )
    assert "“usb”" in str(for_bench("tested", entry, POLICY, "a kind that went"))
    assert "“gone”" in str(for_bench("tested", entry | {"check": "gone"}, POLICY, kind.key))


def test_an_event_of_a_later_version_is_told_by_its_name() -> None:
    assert str(for_bench("levitated", {}, POLICY)) == "levitated"
    assert for_customer("levitated", {}, POLICY) is None

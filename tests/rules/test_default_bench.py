"""The default policy of the bench: sheets for at least eight kinds, cautions that call nothing safe."""

from __future__ import annotations

import tomllib

import pytest

from portal import resources
from portal.rules.policy import Caution, Kind, Policy

POLICY = Policy.model_validate(tomllib.loads(resources.default_policy().read_text(encoding="utf-8")))
ASKED_FOR = ["console", "synthesizer", "amplifier", "reader", "phone", "camera", "laptop", "tool"]


@pytest.mark.parametrize("key", ASKED_FOR)
def test_each_of_eight_kinds_has_a_sheet_with_marks_and_tray(key: str) -> None:
    kind = POLICY.kind(key)

    assert kind is not None
    assert len(kind.checks) >= 7
    assert kind.marks
    assert kind.tray


@pytest.mark.parametrize("kind", POLICY.kinds, ids=lambda kind: kind.key)
def test_every_kind_has_something_that_is_needed_after_the_repair(kind: Kind) -> None:
    assert any(check.needed and check.when != "before" for check in kind.checks)


@pytest.mark.parametrize("caution", POLICY.cautions, ids=lambda caution: caution.key)
def test_no_caution_calls_anything_safe_or_names_a_standard(caution: Caution) -> None:
    words = caution.text.casefold().replace("safety test", "")

    assert "safe" not in words
    assert "50678" not in words


def test_mains_is_left_to_qualified_people_and_local_codes() -> None:
    (mains,) = [caution for caution in POLICY.cautions if caution.key == "mains"]

    assert "local codes" in mains.text
    assert "qualified person" in mains.text
    assert {kind.key for kind in POLICY.kinds if kind.mains} == set(mains.kinds)


def test_an_open_tray_warns_before_testing_and_blocks_at_ready() -> None:
    testing, ready = POLICY.stages[-2:]

    assert ("tray_settled", "warn") in [(at.gate, at.when_shut) for at in testing.enter]
    assert ("tray_settled", "block") in [(at.gate, at.when_shut) for at in ready.enter]
    assert ("tray_settled", "block") in [(at.gate, at.when_shut) for at in ready.leave]

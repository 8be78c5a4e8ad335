"""The chain of proofs holds, and one changed byte anywhere breaks it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from portal.rules.proof import FIRST, Proof, canonical, first_broken, prove


@pytest.fixture
def chain() -> list[Proof]:
    first = prove({"total": 4850, "answer": "yes", "text": "Löten"}, FIRST)
    second = prove({"answer": "no"}, first.digest)
    return [first, second, prove({"answer": "yes"}, second.digest)]


def test_an_untouched_chain_holds(chain: list[Proof]) -> None:
    assert first_broken(chain) is None
    assert first_broken([]) is None


@pytest.mark.parametrize("place", [0, 1, 2])
def test_one_changed_byte_is_found_where_it_was_changed(chain: list[Proof], place: int) -> None:
    document = chain[place].document
    chain[place] = replace(chain[place], document=document.replace("answer", "answeR"))

    assert first_broken(chain) == place


def test_a_proof_taken_out_is_missed(chain: list[Proof]) -> None:
    del chain[1]

    assert first_broken(chain) == 1


def test_facts_have_one_spelling() -> None:
    assert canonical({"b": 1, "a": "ß"}) == canonical({"a": "ß", "b": 1}) == '{"a":"ß","b":1}'

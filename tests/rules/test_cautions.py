"""Cautions: read once a person and wording, and once more only for a ticket that carries the hazard."""

from __future__ import annotations

from portal.rules.cautions import Acknowledged, shown, wording
from portal.rules.policy import Caution

FUME = Caution(key="fume", text="Switch the extraction on.", stages=["board_work"])
MAINS = Caution(key="mains", text="Follow local codes.", kinds=["amplifier"], hazard="mains")
CELL = Caution(key="cell", text="Stop.", hazard="cell", only_flagged=True)
ALL = [FUME, MAINS, CELL]


def keys(*args: object) -> list[str]:
    return [each.key for each in shown(ALL, *args)]  # type: ignore[arg-type]


def test_a_caution_stands_where_the_work_is() -> None:
    assert keys("board_work", "phone", set(), set(), 1) == ["fume"]
    assert keys("testing", "amplifier", {"mains"}, set(), 1) == ["mains"]
    assert keys("received", "phone", {"cell"}, set(), 1) == ["cell"]


def test_what_was_read_once_is_read_for_every_ticket() -> None:
    read = {Acknowledged("fume", wording(FUME), None)}

    assert [shown([FUME], "board_work", "phone", set(), read, ticket)[0].acknowledged for ticket in (1, 2)] == [
        True
    ] * 2


def test_a_hazard_is_read_anew_for_each_ticket_that_carries_it() -> None:
    read = {Acknowledged("cell", wording(CELL), 1)}

    first, second = (shown([CELL], "received", "phone", {"cell"}, read, ticket)[0] for ticket in (1, 2))
    assert first.for_ticket
    assert (first.acknowledged, second.acknowledged) == (True, False)


def test_new_words_are_read_anew() -> None:
    read = {Acknowledged("fume", wording(FUME), None)}
    changed = FUME.model_copy(update={"text": "Switch the extraction on first."})

    assert not shown([changed], "board_work", "phone", set(), read, 1)[0].acknowledged


def test_what_is_yet_to_be_read_stands_first() -> None:
    read = {Acknowledged("fume", wording(FUME), None)}

    assert [each.key for each in shown(ALL, "board_work", "amplifier", {"mains"}, read, 1)] == ["mains", "fume"]

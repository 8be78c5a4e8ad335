"""Real clocks killed at random moments, two at once, with a server that stalls: nothing is lost."""

from __future__ import annotations

import pytest

from tests.faults.rounds import kill


@pytest.mark.slow
def test_twenty_rounds_of_killing_lose_nothing_and_repeat_at_most_one_mail_a_kill():
    figures = kill(20)

    print(figures)
    assert (figures.rounds, figures.put) == (20, 120)
    assert figures.kills >= 30
    assert figures.lost == 0
    assert figures.repeats <= figures.kills
    assert figures.most_often <= 2
    assert figures.strangers == 0
    assert figures.looked_for > 10
    assert figures.found == ""  # a stolen copy of the folder holds no letter and no link that opens anything

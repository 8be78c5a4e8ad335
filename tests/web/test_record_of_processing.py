"""The record of processing: what else an inspector reads there, as the law lists it.

GDPR Art. 28(3), eight points; Art. 30(5); Art. 32(1), four points.
"""

from __future__ import annotations

from datetime import date

import pytest

from notifications.instants import FixedClock
from portal.main import Installation
from portal.rules.processing import CONTRACT, safety
from portal.store import house
from tests.web.browser import Browser

PAGE = "/shop/processing"
# Art. 28(3)(a) to (h): instructions, confidentiality, security, others taken on, help with rights, help with Art. 32 to
# 36, erased or given back at the end, shown and looked into.
POINTS = {
    "28(3)(a)": "only what you tell them in writing",
    "28(3)(b)": "promised to keep it to themselves",
    "28(3)(c)": "keep it safe",
    "28(3)(d)": "take on others for it only with your leave",
    "28(3)(e)": "answer people who ask about their data",
    "28(3)(f)": "with breaches",
    "28(3)(g)": "erase it or give it back",
    "28(3)(h)": "let it be looked into",
}
# Art. 32(1)(a) to (d): pseudonyms and encryption; confidentiality, integrity, availability and resilience; bringing
# back; regular tests.
SAFETY = {
    "32(1)(a)": "pseudonyms and encryption",
    "32(1)(b)": "confidential, correct, there when needed, and able to bear faults",
    "32(1)(c)": "brought back after a fault",
    "32(1)(d)": "tried out regularly",
}


@pytest.mark.parametrize("point", POINTS)
def test_the_contract_with_whoever_handles_data_has_every_point_in_the_laws_order(
    keeper_client: Browser, point: str
) -> None:
    assert POINTS[point] in str(CONTRACT[ord(point[-2]) - ord("a")])
    assert POINTS[point] in keeper_client.get(PAGE).text


def test_it_has_eight_points_and_no_more() -> None:
    assert len({str(each) for each in CONTRACT}) == len(CONTRACT) == len(POINTS) == 8


@pytest.mark.parametrize("point", SAFETY)
def test_how_data_is_kept_safe_has_every_point_in_the_laws_order(keeper_client: Browser, point: str) -> None:
    told = safety(encrypted=False, archived_on=None, tried_on=None)

    assert len(told) == len(SAFETY) == 4
    assert SAFETY[point] in str(told[ord(point[-2]) - ord("a")])
    assert SAFETY[point] in keeper_client.get(PAGE).text


def test_it_says_what_is_so_here_and_now(keeper_client: Browser, installation: Installation, clock: FixedClock) -> None:
    """Art. 32(1)(c) and (d): brought back in time; tried out regularly."""
    page = keeper_client.get(PAGE).text
    assert "no archive was made yet" in page
    assert "no archive was brought back in a test yet" in page
    with installation.desk.writing() as connection:
        house.remember(connection, house.ARCHIVED_AT, clock.now())
        house.remember(connection, house.TRIED_AT, clock.now())

    page = keeper_client.get(PAGE).text

    assert "last archived on Mon, 2 Mar 2026" in page
    assert "brought back in a test on Mon, 2 Mar 2026" in page


@pytest.mark.parametrize(("encrypted", "says"), [(True, "are encrypted"), (False, "are not encrypted")])
def test_whether_archives_are_encrypted_is_told_as_it_is(encrypted: bool, says: str) -> None:
    """Art. 32(1)(a)."""
    assert says in str(safety(encrypted=encrypted, archived_on=date(2026, 3, 2), tried_on=None)[0])


def test_small_shops_keep_it_too(keeper_client: Browser) -> None:
    """Art. 30(5): the exemption fails where processing is not occasional."""
    assert "fewer than 250 people" in keeper_client.get(PAGE).text

"""What is printed has the size that printers and phones need, and an address that leads somewhere."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from portal.rules.policy_prints import Label, Prints
from portal.rules.print_sizes import (
    DOT_MM,
    EDGE_MM,
    LARGEST_MODULE_MM,
    LEAST_MODULE_MM,
    PAPERS,
    leads_only_here,
    module_mm,
    plan_label,
    too_fine,
)


def test_a_module_is_made_of_whole_printer_dots_and_at_least_four_on_the_usual_labels() -> None:
    for label in Prints().labels:
        plan = plan_label(label, 37, 6)  # version 3 with its quiet zone, and a number like 4711-3

        assert plan.module_mm % DOT_MM == 0
        assert plan.module_mm >= LEAST_MODULE_MM
        assert too_fine(plan.module_mm) is None


def test_four_dots_of_a_receipt_printer_are_half_a_millimetre() -> None:
    """qrcode.com, “Module size”: 200 dpi with four dots a module gives 0.5 mm."""
    assert LEAST_MODULE_MM == 0.5


@pytest.mark.parametrize("size", PAPERS)
def test_a_dockets_code_fits_every_paper_even_with_a_long_address(size: str) -> None:
    modules = 25 + 4 * 6  # version 6-M holds 154 letters

    module = module_mm(modules, PAPERS[size].room_mm)

    assert modules * module <= PAPERS[size].room_mm
    assert module >= LEAST_MODULE_MM


@given(st.floats(15, 300), st.floats(15, 300), st.sampled_from(range(29, 62, 4)), st.integers(4, 15))
def test_on_any_label_that_is_large_enough_the_code_and_the_number_have_room(
    width: float, height: float, modules: int, letters: int
) -> None:
    plan = plan_label(Label(key="any", width_mm=width, height_mm=height), modules, letters)
    code = plan.module_mm * modules
    right, below = width - 2 * EDGE_MM, height - 2 * EDGE_MM

    if plan.module_mm > DOT_MM:  # else it is too small to print on, and said to be
        assert code <= min(right, below) + 1e-6
        assert (plan.beside and code + plan.number_width_mm <= right + 0.2) or code + plan.number_mm <= below + 0.01
    assert plan.module_mm <= LARGEST_MODULE_MM


def test_a_code_too_fine_for_printers_is_said_to_be() -> None:
    assert "0.375 mm" in str(too_fine(0.375))


@pytest.mark.parametrize(
    "address",
    [
        "http://localhost:8000",  # RFC 6761
        "http://127.0.0.1:8000",
        "http://[::1]:8000",
        "http://192.168.178.20:8000",  # RFC 1918
        "http://10.1.2.3",
        "http://172.16.0.9",
        "http://169.254.7.7",
        "http://[fe80::1]",
        "http://[fd00::7]",
        "http://bench.local",  # RFC 6762
        "http://bench.home.arpa",  # RFC 8375
        "http://workshop",
        "http://bench.localhost.",
    ],
)
def test_an_address_of_this_machine_or_network_is_warned_of(address: str) -> None:
    assert address in str(leads_only_here(address))


@pytest.mark.parametrize("address", ["https://repairs.example.org", "https://8.8.8.8", "https://[2606:4700::1]/shop"])
def test_a_public_address_is_not(address: str) -> None:
    assert leads_only_here(address) is None

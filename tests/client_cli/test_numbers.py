"""No more digits than the uncertainty carries."""

import math
import random

import pytest

from api.shown import shown
from client_cli.numbers import decimals_of, fixed, percent, spread, with_uncertainty


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (231.2468, 1.5731, "231.2 ± 1.6"),
        (52.18841, 0.08123, "52.188 ± 0.081"),
        (0.61234, 0.0123, "0.612 ± 0.012"),
        (10.0, 0.0996, "10.00 ± 0.10"),
        (9.9949, 0.00999, "9.995 ± 0.010"),
        (2314.0, 123.0, "2310 ± 120"),
        (1499999.0, 12345.0, "1500000 ± 12000"),
        (-0.3, 0.4, "-0.30 ± 0.40"),
        (-0.0004, 0.11, "0.00 ± 0.11"),
        (5, 1, "5.0 ± 1.0"),
        (3.2, 124.0, "0 ± 120"),
        (0.0, 12.4, "0 ± 12"),
        (1.2e12, 3.4e10, "(1.200 ± 0.034)e12"),
        (5.0, 1e9, "(0.0 ± 1.0)e9"),
        (1e-7, 1e-9, "(1.000 ± 0.010)e-7"),
        (9999999.0, 1.2e6, "10000000 ± 1200000"),
        (1e300, 1e299, "(1.00 ± 0.10)e300"),
        (1.0, 1e-20, "1"),
        (0.0, 5e-324, "0"),
    ],
)
def test_two_digits_of_the_uncertainty_decide(value, uncertainty, text):
    assert with_uncertainty(value, uncertainty) == text


@pytest.mark.parametrize("uncertainty", [None, 0, 0.0, -1, math.nan, math.inf, "1", True])
def test_without_a_usable_uncertainty_four_digits_are_shown(uncertainty):
    assert decimals_of(uncertainty) is None
    assert with_uncertainty(231.2468, uncertainty) == "231.2"


def test_the_server_writes_them_alike():
    rng = random.Random(7)
    for _ in range(2000):
        value = rng.choice([0.0, rng.uniform(-1, 1)]) * 10.0 ** rng.randint(-12, 14)
        u = rng.choice([0.0, rng.uniform(0, 1)]) * 10.0 ** rng.randint(-12, 14)
        assert shown(value, u) == with_uncertainty(value, u), (value, u)


def test_the_rule_of_the_gum_on_its_own_example():
    # JCGM 100:2008, 7.2.2, from memory: m_S = 100.021 47 g with u_c = 0.35 mg, both written to 0.01 mg.
    assert with_uncertainty(100.0214712, 0.00035) == "100.02147 ± 0.00035"


def test_what_is_no_number_is_a_dash():
    for nothing in (None, "high", math.nan, True, {}):
        assert fixed(nothing, 2) == "-"
        assert spread(nothing) == "-"


def test_spread_keeps_two_digits_and_a_true_zero():
    assert [spread(value) for value in (0.0149, 21.4, 0.0, 1234.0)] == ["0.015", "21", "0", "1200"]


def test_whole_numbers_stay_whole():
    assert fixed(3000, None) == "3000"
    assert fixed(0.0, None) == "0"
    assert fixed(1234567.0, None) == "1235000"


@pytest.mark.parametrize(
    ("chance", "told"),
    [(1.0, "over 99 %"), (0.996, "over 99 %"), (0.99, "99 %"), (0.5, "50 %"), (0.004, "below 1 %")],
)
def test_nothing_estimated_is_told_as_certain(chance: float, told: str) -> None:
    assert percent(chance) == told

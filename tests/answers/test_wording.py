"""Figures and names as answers write them."""

import random
from math import floor, inf, log10

import pytest

from registry.answers.wording import (
    counted,
    figure,
    in_a_hundred,
    natural,
    rounded,
    rounded_within,
    telling,
)


@pytest.mark.parametrize(
    ("value", "u", "written"),
    [
        (69.8712, 0.3, "69.9"),
        (69.7791, 0.002, "69.8"),
        (171.62, 0.9, "172"),
        (171.62, 24.0, "172"),
        (1234.5, 0.1, "1234"),
        (0.09853, 0.0004, "0.0985"),
        (0.0, 0.04, "0.00"),
        (0.0, None, "0"),
        (-3.25, None, "-3.25"),
        (55.0, None, "55.0"),
        (-0.01, 2.0, "0"),
        (171.62, 240.0, "170"),
        (1234.5, 150.0, "1230"),
        (0.4, 2.0, "0.4"),
        (0.4, 24.0, "0"),
        (0.0, 240.0, "0"),
    ],
)
def test_a_figure_has_no_more_digits_than_it_carries(value, u, written) -> None:
    assert rounded(value, u) == written


@pytest.mark.parametrize(
    ("value", "low", "high", "written"),
    [
        (-6.0612, -9.94, -3.12, "-6"),
        (-6.0612, -6.3, -5.8, "-6.1"),
        (-6.0612, -26.3, 14.2, "-6"),
        (61.21, -1200.0, 1300.0, "60"),
        (-6.0612, None, None, "-6.06"),
        (-6.0612, -inf, inf, "-6.06"),
        (-6.0612, -6.0612, -6.0612, "-6.06"),
    ],
)
def test_a_figure_goes_to_the_place_that_its_interval_supports(value, low, high, written) -> None:
    assert rounded_within(value, low, high) == written


def test_no_figure_is_finer_than_two_digits_of_its_uncertainty() -> None:
    """JCGM 100:2008, 7.2.6: an uncertainty has two significant digits at most, its value as many places."""
    chance = random.Random(7)
    for _ in range(5000):
        value, u = chance.choice((-1, 1)) * 10 ** chance.uniform(-3, 5), 10 ** chance.uniform(-3, 4)
        finest = 10.0 ** (floor(log10(u)) - 1)
        for text in (rounded(value, u), rounded_within(value, value - 2 * u, value + 2 * u)):
            assert float(text) / finest == pytest.approx(round(float(text) / finest), abs=1e-6)
            assert len(text.partition(".")[2]) <= max(-round(log10(finest)), 0)


def test_labels_are_told_apart_by_what_differs() -> None:
    assert telling(["cup / flat / 24 mm", "cup / domed / 24 mm"]) == {
        "cup / flat / 24 mm": "flat",
        "cup / domed / 24 mm": "domed",
    }
    assert telling(["cup / flat / 24 mm", "cup / domed / 21 mm"])["cup / flat / 24 mm"] == "flat / 24 mm"
    assert telling(["cup / flat", "cup"]) == {"cup / flat": "cup / flat", "cup": "cup"}
    assert telling(["cup / flat", "cup / flat"]) == {"cup / flat": "cup / flat"}


def test_plurals_digits_and_order() -> None:
    assert (counted(1, "unit"), counted(0, "unit")) == ("1 unit", "0 units")
    assert figure(1.23456789) == 1.23457
    assert figure(None) is None
    assert sorted(["10", "2", "low", "a2", "a10"], key=natural) == ["2", "10", "a2", "a10", "low"]


def test_nothing_estimated_is_told_as_certain() -> None:
    told = [in_a_hundred(chance, "about ") for chance in (1.0, 0.996, 0.5, 0.004)]
    assert told == ["more than 99 in 100", "more than 99 in 100", "about 50 in 100", "less than 1 in 100"]

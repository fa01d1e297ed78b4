"""Figures and names as answers write them."""

import pytest

from registry.answers.wording import counted, figure, in_a_hundred, natural, rounded, telling


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
    ],
)
def test_a_figure_has_no_more_digits_than_it_carries(value, u, written) -> None:
    assert rounded(value, u) == written


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

"""A likeness in words has no more digits than its intervals support."""

from typing import Any

import pytest

from registry.answers.matching.doubts import BEYOND, UNTOLD, WITHIN
from registry.answers.matching.likes_told import told_likeness

WIDTHS = {"cycle_rate": 3.5, "peak_vacuum": 10.0}


def likeness(within: str, **differences: tuple[float, float | None, float | None]) -> dict[str, Any]:
    metrics = {
        metric: {
            "difference": by,
            "in_margins": by / WIDTHS[metric],
            "difference_low": low,
            "difference_high": high,
        }
        for metric, (by, low, high) in differences.items()
    }
    return {
        "model": "Lapwing One",
        "revision": "B",
        "mode": "expression",
        "programme": "",
        "level": "5",
        "rig": "cup",
        "other_parts": {},
        "units": 6,
        "missing": "",
        "probability": None,
        "within": within,
        "distance": max(abs(of["in_margins"]) for of in metrics.values()),
        "metrics": metrics,
    }


def told(within: str, rate, vacuum) -> str:
    row = likeness(within, cycle_rate=rate, peak_vacuum=vacuum)
    return told_likeness("Lapwing One revision A at expression 5", "A", 9, [row], with_model=False)


@pytest.mark.parametrize(
    ("vacuum", "words"),
    [
        ((-26.06, -29.9, -23.1), "2.6 margins away (peak vacuum lower by 26 mmHg)"),
        ((-16.06, -16.2, -15.9), "1.6 margins away (peak vacuum lower by 16 mmHg)"),
        ((10.4, -59.0, 80.0), "1 margin away (peak vacuum higher by 10 mmHg)"),
        ((123.4, -900.0, 1100.0), "12 margins away (peak vacuum higher by 120 mmHg)"),
        ((-16.06, None, None), "1.6 margins away (peak vacuum lower by 16 mmHg)"),
        ((3.4, -900.0, 900.0), "(peak vacuum about the same)"),
    ],
)
@pytest.mark.parametrize("within", [BEYOND, UNTOLD])
def test_how_far_off_has_the_digits_of_its_interval(vacuum, words, within) -> None:
    assert words in told(within, (0.1, -0.4, 0.6), vacuum)


@pytest.mark.parametrize(
    ("rate", "vacuum", "words"),
    [
        ((-1.4961, -2.0, -1.0), (6.04, 3.1, 9.0), "(cycle rate -1.5 cycles/min, peak vacuum +6 mmHg)"),
        ((0.0412, -0.06, 0.14), (0.02, -4.0, 4.0), "(cycle rate +0.04 cycles/min, peak vacuum 0 mmHg)"),
    ],
)
def test_what_lies_within_is_told_with_its_sign(rate, vacuum, words) -> None:
    assert words in told(WITHIN, rate, vacuum)

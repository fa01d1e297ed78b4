"""Algorithm A on the worked examples of ISO 13528:2022 Annex E.

Numbers as reproduced, with attribution, in the tests of the package pt13528 (kanunimurat/pt13528,
`tests/annex_e_data.py` and `tests/printed_values.py`); the standard itself was not opened.
"""

import numpy as np
import pytest

from registry.statistics.robust import algorithm_a, scaled_mad

# E.3: atrazine in water, 34 laboratories.
ATRAZINE = [
    *[0.0400, 0.0550, 0.1780, 0.2020, 0.2060, 0.2270, 0.2280, 0.2300, 0.2300, 0.2350, 0.2360, 0.2370],
    *[0.2430, 0.2440, 0.2450, 0.2555, 0.2600, 0.2640, 0.2670, 0.2700, 0.2730, 0.2740, 0.2740, 0.2780],
    *[0.2811, 0.2870, 0.2870, 0.2880, 0.2890, 0.2950, 0.2960, 0.3110, 0.3310, 0.4246],
]
# E.1: antibody concentration, the three readings of "less than 10" taken as 10, dropped, or halved.
IGNORED = [10, 10, 12, 19, 20, 20, 23, 23, 25, 25, 26, 28, 28, 30, 28, 29, 30, 30, 31, 32, 32, 45, 50]
DELETED = [12, 19, 20, 23, 23, 25, 25, 26, 28, 28, 28, 29, 30, 30, 31, 32, 32, 45]
HALVED = [5, 5, 12, 19, 10, 20, 23, 23, 25, 25, 26, 28, 28, 15, 28, 29, 30, 30, 31, 32, 32, 45, 25]


def test_atrazine_as_printed() -> None:
    centre, scale = algorithm_a(ATRAZINE)
    assert round(centre, 4) == 0.2570
    assert round(scale, 4) == 0.0395
    assert np.median(ATRAZINE) == pytest.approx(0.262, abs=5e-4)
    # The standard scales by 1.483 where the exact factor is 1.4826.
    assert round(scaled_mad(ATRAZINE) * 1.483 / 1.4826, 4) == 0.0386


@pytest.mark.parametrize(
    ("values", "centre", "scale"),
    [(IGNORED, 26.01, 7.23), (DELETED, 26.81, 5.29), (HALVED, 23.95, 8.60)],
)
def test_antibody_within_the_printed_stopping_rule(values: list[int], centre: float, scale: float) -> None:
    """The printed figures stop once the third significant figure stands still, so full convergence may
    differ from them by one in the last place."""
    found = algorithm_a(values)
    assert found[0] == pytest.approx(centre, abs=0.011)
    assert found[1] == pytest.approx(scale, abs=0.011)

"""Algorithm A on the worked examples of ISO 13528:2022 Annex E.

Numbers as reproduced, with attribution, in the tests of the package pt13528 (kanunimurat/pt13528,
`tests/annex_e_data.py` and `tests/printed_values.py`); the standard itself was not opened.
"""

import numpy as np
import pytest
from statsmodels.robust.scale import Huber

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


# ISO 5725-2 B.3, creosote oil, level 5: means of nine laboratories, as in R's metRology, `man/algA.Rd`, where
# algA of R 4.2.2 gives 20.412142857 and, with the factor 1.134, 1.069839703.
CREOSOTE_MEANS = [24.140, 20.155, 19.500, 20.300, 20.705, 17.570, 20.100, 20.940, 21.185]


def test_creosote_by_metrology() -> None:
    assert algorithm_a(CREOSOTE_MEANS) == pytest.approx((20.412142857, 1.069839703), abs=2e-7)


@pytest.mark.parametrize("values", [ATRAZINE, IGNORED, DELETED, CREOSOTE_MEANS])
def test_algorithm_a_is_huber_with_a_rounded_factor(values) -> None:
    """statsmodels' Huber(c=1.5) iterates the same pull with the exact factor, 1.13339 for 1.134."""
    centre, scale = (float(part) for part in Huber(c=1.5, tol=1e-10, maxiter=500)(np.asarray(values, float)))
    found = algorithm_a(values)
    assert found[0] == pytest.approx(centre, abs=5e-4 * scale)
    assert found[1] == pytest.approx(scale, rel=3e-3)

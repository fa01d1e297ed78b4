"""Repeatability and reproducibility of ASTM E691's example: glucose in serum, 8 laboratories, 5 materials.

Values: ASTM E691-99 Table 1 as carried by NIST Dataplot, `lib/data/GLUCOSE.DAT` (public domain), with the
one cell its transcription has wrong put right: material C, laboratory 4, second result is 138.30, not 148.30
(only that reproduces the published row). Published results: remembered, and recomputed from these values.
"""

import numpy as np
import pytest

from registry.statistics.components import components
from tests.statistics.tables import cells_from_runs

GLUCOSE = {
    "A": [
        [41.03, 41.45, 41.37],
        [41.17, 42.00, 41.15],
        [41.01, 40.68, 42.66],
        [39.37, 42.37, 42.63],
        [41.88, 41.19, 41.32],
        [43.28, 40.50, 42.28],
        [41.08, 41.27, 39.02],
        [43.36, 42.65, 41.72],
    ],
    "B": [
        [78.28, 78.18, 78.49],
        [77.78, 80.38, 79.54],
        [79.18, 79.72, 80.81],
        [84.08, 78.60, 81.92],
        [78.16, 79.58, 78.33],
        [78.66, 79.27, 81.75],
        [79.76, 81.45, 77.35],
        [80.44, 80.80, 79.80],
    ],
    "C": [
        [132.66, 133.83, 133.10],
        [132.92, 136.90, 136.40],
        [132.61, 135.80, 135.36],
        [138.50, 138.30, 135.69],
        [131.90, 134.14, 133.76],
        [137.21, 135.14, 137.50],
        [130.97, 131.59, 134.92],
        [135.46, 135.14, 133.63],
    ],
    "D": [
        [193.71, 193.59, 193.65],
        [190.88, 200.14, 194.30],
        [192.71, 193.28, 190.28],
        [195.85, 196.36, 199.43],
        [192.59, 191.44, 195.12],
        [195.34, 198.26, 198.13],
        [194.66, 191.99, 187.13],
        [197.56, 195.99, 200.82],
    ],
    "E": [
        [292.78, 294.09, 292.89],
        [292.27, 309.40, 295.08],
        [295.53, 290.14, 292.34],
        [295.19, 295.44, 296.83],
        [293.93, 292.48, 294.28],
        [297.74, 296.80, 290.33],
        [287.29, 293.76, 289.36],
        [298.46, 295.28, 296.12],
    ],
}


@pytest.mark.parametrize(
    ("material", "mean", "s_r", "s_reproducibility"),
    [
        # In A the laboratories differ less than chance, so that both standard deviations are equal.
        ("A", 41.5183, 1.0632, 1.0632),
        ("B", 79.6796, 1.4949, 1.5796),
        ("C", 134.7264, 1.5434, 2.1482),
        ("D", 194.7170, 2.6251, 3.3657),
        ("E", 294.4920, 3.9350, 4.1923),
    ],
)
def test_one_material_at_eight_laboratories(
    material: str, mean: float, s_r: float, s_reproducibility: float
) -> None:
    table = cells_from_runs([(0, lab, results) for lab, results in enumerate(GLUCOSE[material])])
    found = components(table)
    assert table.mean.mean() == pytest.approx(mean, abs=2e-4)
    assert found.repeat is not None
    assert found.reproducibility is not None
    assert np.sqrt(found.repeat) == pytest.approx(s_r, abs=2e-4)
    assert np.sqrt(found.reproducibility) == pytest.approx(s_reproducibility, abs=2e-4)

"""Precision of an unbalanced example: sulphur in coal, 8 laboratories, 3 to 5 results each.

The example of ISO 5725-2, Annex B. Results and printed figures are from memory, not seen in a source; the
remembered results do give every printed digit.
"""

import numpy as np
import pytest

from registry.statistics.components import components
from tests.statistics.tables import cells_from_runs

# Per cent by mass; one row a laboratory.
SULPHUR = {
    1: [
        [0.71, 0.71, 0.7, 0.71],
        [0.69, 0.67, 0.68],
        [0.66, 0.65, 0.69],
        [0.67, 0.65, 0.66],
        [0.7, 0.69, 0.66, 0.71, 0.69],
        [0.73, 0.74, 0.73],
        [0.71, 0.71, 0.69],
        [0.7, 0.65, 0.68],
    ],
    2: [
        [1.2, 1.18, 1.23, 1.21],
        [1.22, 1.21, 1.22],
        [1.28, 1.31, 1.3],
        [1.23, 1.18, 1.2],
        [1.31, 1.22, 1.22, 1.24],
        [1.39, 1.36, 1.37],
        [1.2, 1.26, 1.26],
        [1.24, 1.22, 1.3],
    ],
    3: [
        [1.68, 1.7, 1.68, 1.69],
        [1.64, 1.64, 1.65],
        [1.61, 1.61, 1.62],
        [1.68, 1.66, 1.66],
        [1.64, 1.67, 1.6, 1.66, 1.68],
        [1.7, 1.73, 1.73],
        [1.69, 1.7, 1.68],
        [1.67, 1.68, 1.67],
    ],
    4: [
        [3.26, 3.26, 3.2, 3.24],
        [3.2, 3.2, 3.2],
        [3.37, 3.36, 3.38],
        [3.16, 3.22, 3.23],
        [3.2, 3.19, 3.18, 3.27, 3.24],
        [3.27, 3.31, 3.29],
        [3.27, 3.24, 3.23],
        [3.25, 3.26, 3.26],
    ],
}


@pytest.mark.parametrize(
    ("level", "mean", "s_r", "s_reproducibility"),
    [(1, 0.690, 0.015, 0.026), (2, 1.252, 0.029, 0.061), (3, 1.667, 0.017, 0.035), (4, 3.250, 0.026, 0.058)],
)
def test_sulphur_in_coal(level: int, mean: float, s_r: float, s_reproducibility: float) -> None:
    table = cells_from_runs([(0, lab, results) for lab, results in enumerate(SULPHUR[level])])
    found = components(table)
    assert found.repeat is not None
    assert found.reproducibility is not None
    assert round(float(table.runs @ table.mean / table.runs.sum()), 3) == mean
    assert round(float(np.sqrt(found.repeat)), 3) == s_r
    assert round(float(np.sqrt(found.reproducibility)), 3) == s_reproducibility

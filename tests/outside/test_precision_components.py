"""Variance components of two data sets every textbook on mixed models uses."""

import pytest

from registry.statistics.components import components
from tests.statistics.tables import cells_from_runs

# Davies, Statistical Methods in Research and Production (1947): yield of dyestuff, 6 batches of 5.
DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]
# Davies and Goldsmith, Statistical Methods in Research and Production, 4th ed. (1972): strength of a paste,
# 10 batches, 3 casks of each, 2 tests of each.
PASTES = [
    [[62.8, 62.6], [60.1, 62.3], [62.7, 63.1]],
    [[60.0, 61.4], [57.5, 56.9], [61.1, 58.9]],
    [[58.7, 57.5], [63.9, 63.1], [65.4, 63.7]],
    [[57.1, 56.4], [56.9, 58.6], [64.7, 64.5]],
    [[55.1, 55.1], [54.7, 54.2], [58.8, 57.5]],
    [[63.4, 64.9], [59.3, 58.1], [60.5, 60.0]],
    [[62.5, 62.6], [61.0, 58.7], [56.9, 57.7]],
    [[59.2, 59.4], [65.2, 66.0], [64.8, 64.1]],
    [[54.8, 54.8], [64.0, 64.0], [57.7, 56.8]],
    [[58.3, 59.3], [59.2, 59.2], [58.9, 56.6]],
]


def test_dyestuff_by_restricted_likelihood() -> None:
    """REML by lme4 1.1-31 in R 4.2.2: 1764.05 between batches, 2451.25 within, mean 1527.5."""
    found = components(cells_from_runs([(batch, 0, values) for batch, values in enumerate(DYESTUFF)]))
    assert found.unit == pytest.approx(1764.05, abs=0.005)
    assert found.repeat == pytest.approx(2451.25, abs=0.005)


def test_pastes_by_restricted_likelihood() -> None:
    """REML by lme4 1.1-31 in R 4.2.2: batch 1.6573, cask in batch 8.4337, test 0.6780."""
    rows = [
        (3 * batch + cask, batch, tests)
        for batch, casks in enumerate(PASTES)
        for cask, tests in enumerate(casks)
    ]
    found = components(cells_from_runs(rows))
    assert found.clinic == pytest.approx(1.6573, abs=1e-4)
    assert found.unit == pytest.approx(8.4337, abs=1e-4)
    assert found.repeat == pytest.approx(0.6780, abs=1e-4)

"""The small matrix of gauges says what generalised least squares over all rows says."""

import numpy as np
import pandas as pd
import pytest

from registry.statistics.leans import leans_of

SPREAD, NOISE, SCATTER = 0.03, 0.01, 0.02


def pairs(rng: np.random.Generator) -> pd.DataFrame:
    """Three builds of six units at five gauges; every third unit was read by two of them."""
    rows = []
    for unit in range(18):
        gauges = {unit % 5, (unit + unit // 3) % 5} if unit % 3 == 0 else {unit % 5}
        rows += [(unit, unit // 6, gauge, rng.normal(0, 0.04)) for gauge in sorted(gauges)]
    return pd.DataFrame(rows, columns=["unit", "build", "gauge", "apart"])


def by_rows(table: pd.DataFrame, members: list[int], spread: np.ndarray) -> tuple[float, float]:
    """The mean shift of some gauges' rows by generalised least squares over the whole table."""
    unit, gauge = table["unit"].to_numpy(), table["gauge"].to_numpy()
    covariance = NOISE**2 * np.eye(len(table)) + SCATTER**2 * (gauge[:, None] == gauge)
    covariance += np.where(unit[:, None] == unit, np.outer(spread, spread), 0.0)
    builds = (table["build"].to_numpy()[:, None] == np.arange(3)).astype(float)
    design = np.column_stack([np.isin(gauge, members).astype(float), builds])
    inverse = np.linalg.inv(covariance)
    known = np.linalg.inv(design.T @ inverse @ design)
    return float((known @ design.T @ inverse @ table["apart"])[0]), float(known[0, 0] ** 0.5)


@pytest.mark.parametrize("differing", [0, 1])
def test_shifts_are_those_of_generalised_least_squares(differing: int) -> None:
    table = pairs(np.random.default_rng(61))
    spread = SPREAD * (1 + table["build"].to_numpy() * differing)
    leans = leans_of(table, table["apart"].to_numpy(), spread, NOISE)
    centres, errors = leans.tested(SCATTER, np.zeros(5, bool))
    for place, gauge in enumerate(leans.gauges.tolist()):
        assert (centres[place], errors[place]) == pytest.approx(by_rows(table, [gauge], spread), rel=1e-6)


def test_two_gauges_that_lean_as_one() -> None:
    table = pairs(np.random.default_rng(62))
    leans = leans_of(table, table["apart"].to_numpy(), SPREAD, NOISE)
    found = leans.together(np.isin(leans.gauges, [1, 3]), SCATTER, np.zeros(5, bool))
    assert found == pytest.approx(by_rows(table, [1, 3], np.full(len(table), SPREAD)), rel=1e-6)


def test_a_gauge_that_alone_read_a_build_is_told_nothing_of() -> None:
    table = pd.DataFrame(
        [(0, 0, 0, 0.1), (1, 0, 0, 0.1), (2, 1, 1, 0.0), (3, 1, 2, 0.0)],
        columns=["unit", "build", "gauge", "apart"],
    )
    _, errors = leans_of(table, table["apart"].to_numpy(), SPREAD, NOISE).tested(SCATTER, np.zeros(3, bool))
    assert np.isinf(errors[0])
    assert np.isfinite(errors[1:]).all()

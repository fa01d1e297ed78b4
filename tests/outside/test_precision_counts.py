"""Limits of a share against the tables of Clopper and Pearson."""

import pytest

from registry.statistics.domains import share_limits


@pytest.mark.parametrize(
    ("events", "counted", "low", "high"),
    [(0, 10, 0.0, 0.3085), (1, 10, 0.0025, 0.4450), (5, 10, 0.1871, 0.8129), (10, 10, 0.6915, 1.0)],
)
def test_exact_limits_at_95_percent(events: int, counted: int, low: float, high: float) -> None:
    """C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404; values from memory."""
    assert share_limits(events, counted) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize("counted", [30, 100, 1000])
def test_rule_of_three(counted: int) -> None:
    """None among n leaves up to 3 / n, one-sided: J. A. Hanley, A. Lippman-Hand, JAMA 249 (1983) 1743."""
    assert share_limits(0, counted, coverage=0.90)[1] == pytest.approx(3 / counted, rel=0.06)

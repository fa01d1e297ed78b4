"""How metrics are found to go together."""

import warnings

import numpy as np
import pytest
from scipy import stats

from registry.statistics.boxes import box_chances
from registry.statistics.correlated import correlations

TRUTH = np.array([[1.0, -0.6, 0.3], [-0.6, 1.0, 0.4], [0.3, 0.4, 1.0]])


def drawn(rows: int, seed: int = 1, truth: np.ndarray = TRUTH) -> np.ndarray:
    """Units at clinics of three metrics, each of a size and a spread of its own."""
    rng = np.random.default_rng(seed)
    return rng.multivariate_normal(np.zeros(3), truth, rows) * [1.4, 6.0, 0.01] + [72.0, 230.0, 0.45]


def test_of_many_rows_correlations_are_those_of_scipy() -> None:
    values = drawn(4000)
    values[:1500, 2] = np.nan
    (found,) = correlations([values])
    for one, other in ((0, 1), (0, 2), (1, 2)):
        both = values[~np.isnan(values[:, [one, other]]).any(axis=1)]
        pearson = stats.pearsonr(both[:, one], both[:, other]).statistic
        assert found[one, other] == found[other, one] == pytest.approx(pearson, abs=0.001)


def lines(rows: int, rise: float = 1.0) -> np.ndarray:
    """Two metrics of which one is the other, up or down."""
    line = np.arange(float(rows))
    return np.stack([line, rise * line + 70.0], axis=1)


def test_correlations_are_drawn_towards_none_by_a_belief_in_all_alike() -> None:
    """Fisher's z of a correlation of which nothing is known, from -1 to 1, has the variance taken here."""
    belief = 1 / np.var(np.arctanh(stats.uniform(-1, 2).ppf(stats.qmc.Halton(1, seed=1).random(2**16))))
    for rows in (4, 9, 40):
        (found,) = correlations([lines(rows, -1.0)])
        drawn_z = np.arctanh(0.99) * (rows - 3) / (rows - 3 + belief)
        assert found[0, 1] == pytest.approx(-np.tanh(drawn_z), rel=0.01)
    for values in (lines(3), lines(40, 0.0)):
        assert correlations([values])[0].tolist() == np.eye(2).tolist()


def test_correlations_are_drawn_towards_those_of_other_levels_by_six_rows_at_most() -> None:
    few, many, nothing = np.arctanh(correlations([lines(7), lines(43, -1.0), lines(2)])[:, 0, 1])
    whole, belief = np.arctanh(0.99), 12 / np.pi**2
    assert few == pytest.approx(whole * (4 - 6) / (4 + 6 + belief))
    assert many == pytest.approx(whole * (-40 + 4) / (40 + 4 + belief))
    assert nothing == pytest.approx(whole * (6 / 44) * (4 - 40) / (6 + belief))


def test_what_levels_share_tells_more_of_few_rows_than_each_alone() -> None:
    off = []
    for seed in range(200):
        levels = [drawn(6, 10 * seed + level) for level in range(5)]
        alone = np.concatenate([correlations([values]) for values in levels])
        off.append([np.abs(found - TRUTH).mean() for found in (correlations(levels), alone)])
    together, apart = np.mean(off, axis=0)
    assert together < 0.8 * apart


def test_what_is_found_of_two_metrics_rests_on_no_other() -> None:
    values = drawn(30)
    values[3:9, 2] = np.nan
    levels = [values, drawn(7, 2)]
    alone = correlations([of[:, :2] for of in levels])
    assert correlations(levels)[:, :2, :2] == pytest.approx(alone, abs=1e-14)


def test_metrics_that_nobody_read_go_with_nothing() -> None:
    unread = np.full((9, 2), np.nan)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        found = correlations([unread, np.zeros((0, 2))])
    assert found.tolist() == [np.eye(2).tolist()] * 2


def test_chances_from_what_few_rows_show_come_true_on_average() -> None:
    """Against scipy's multivariate normal of the truth, for metrics that go strongly together."""
    truth = np.array([[1.0, 0.9, 0.9], [0.9, 1.0, 0.9], [0.9, 0.9, 1.0]])
    found = [
        correlations([drawn(20, 10 * seed + level, truth) for level in range(3)])[0] for seed in range(300)
    ]
    chances = box_chances(np.zeros((300, 3)), np.full((300, 3), np.inf), np.array(found))
    assert chances.mean() == pytest.approx(stats.multivariate_normal(cov=truth).cdf(np.zeros(3)), abs=0.02)

"""How sure it is that a setting lies within margins."""

import numpy as np
import pytest

from registry.answers.matching.doubts import BEYOND, UNTOLD, WITHIN, doubts_of


def doubt(*metrics: tuple[float, float, float], widths=(10.0, 5.0)):
    (found,) = doubts_of(np.array([metrics]), list(widths[: len(metrics)]))
    return found


def test_a_small_and_certain_difference_is_within() -> None:
    found = doubt((0.5, 1.0, 40.0), (-0.2, 0.5, 40.0))
    assert found.state == WITHIN
    assert found.chance == pytest.approx(1.0, abs=1e-6)
    assert found.lows[0] < 0.5 < found.highs[0]


def test_one_metric_surely_beyond_is_enough() -> None:
    assert doubt((0.5, 1.0, 40.0), (30.0, 0.5, 40.0)).state == BEYOND


def test_a_doubtful_difference_cannot_be_told() -> None:
    found = doubt((9.0, 4.0, 10.0), (0.0, 0.5, 40.0))
    assert found.state == UNTOLD
    assert 0.05 < found.chance < 0.95


def test_two_small_doubts_add_up() -> None:
    one = (7.0, 1.6, 1e6)
    assert doubt(one).state == WITHIN
    assert doubt(one, one, widths=(10.0, 10.0)).state == UNTOLD


def test_what_is_not_known_leaves_it_open_unless_another_metric_is_beyond() -> None:
    unknown = (np.nan, np.nan, np.nan)
    open_ = doubt((0.0, 0.5, 40.0), unknown)
    assert (open_.state, open_.chance) == (UNTOLD, None)
    assert doubt((99.0, 0.5, 40.0), unknown).state == BEYOND

"""Performance scores: how they relate to each other, how they are read, and what they refuse."""

import numpy as np
import pytest

from registry.statistics.scores import (
    en_mark,
    en_scores,
    mark,
    negligible,
    z_prime_scores,
    z_scores,
    zeta_scores,
)


def test_all_scores_are_z_where_one_uncertainty_is_all_there_is() -> None:
    values = [9.0, 10.0, 12.5]
    z = z_scores(values, 10.0, 0.5)
    assert z == pytest.approx([-2, 0, 5])
    assert z_prime_scores(values, 10.0, 0.5, 0.0) == pytest.approx(z)
    assert zeta_scores(values, 10.0, 0.5, 0.0) == pytest.approx(z)
    assert en_scores(values, 10.0, 0.3, 0.4) == pytest.approx(z)


def test_a_score_that_is_not_known_stays_so() -> None:
    assert np.isnan(z_scores([1.0, np.nan], 1.0, 1.0)).tolist() == [False, True]
    with pytest.raises(ValueError, match="not known"):
        mark(float("nan"))


@pytest.mark.parametrize(
    ("score", "read", "en"),
    [
        (0.99, "acceptable", "acceptable"),
        (-1.0, "acceptable", "action"),
        (2.0, "acceptable", "action"),
        (-2.01, "warning", "action"),
        (2.99, "warning", "action"),
        (-3.0, "action", "action"),
    ],
)
def test_how_scores_are_read(score: float, read: str, en: str) -> None:
    assert (mark(score), en_mark(score)) == (read, en)


def test_when_the_assigned_value_is_sure_enough_for_z() -> None:
    assert negligible(0.29, 1.0)
    assert not negligible(0.3, 1.0)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: z_scores(1.0, 1.0, 0.0), "sigma must be above"),
        (lambda: z_prime_scores(1.0, 1.0, 1.0, -0.1), "below nought"),
        (lambda: zeta_scores([1.0, 2.0], 1.0, [0.0, 1.0], 0.0), "joint uncertainty"),
        (lambda: en_scores(1.0, 1.0, -1.0, 2.0), "below nought"),
    ],
)
def test_uncertainties_that_make_no_score(call, words) -> None:
    with pytest.raises(ValueError, match=words):
        call()

"""Sound values say what generalised least squares makes of them; wild ones say no more than that they are."""

import numpy as np
import pytest

from registry.statistics.bounded import against, said_for_lean, said_for_step

LEAN, SPREAD = 0.02, 0.03
# Chi squares of one degree of freedom: what is no more than chance, and what hardly ever is.
CHANCE, SURE = 2.0**2, 4.0**2


def variances(values: np.ndarray) -> np.ndarray:
    return np.full(values.size, SPREAD**2)


@pytest.mark.parametrize("size", [3, 8, 30])
def test_sound_values_say_of_a_lean_what_least_squares_do(size: int) -> None:
    values = 0.05 + SPREAD * np.random.default_rng(71).uniform(-0.8, 0.8, size)
    expected = values.mean() ** 2 / (LEAN**2 + SPREAD**2 / size)
    assert said_for_lean(values, variances(values), LEAN) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("place", [3, 10, 17])
def test_sound_values_say_of_a_step_what_least_squares_do(place: int) -> None:
    values = SPREAD * np.random.default_rng(72).uniform(-1, 1, 20)
    values[place:] += 0.04
    apart = values[place:].mean() - values[:place].mean()
    expected = apart**2 / (SPREAD**2 * (1 / place + 1 / (20 - place)))
    said, without_one = said_for_step(values, variances(values), place, np.inf)
    assert said == pytest.approx(expected, rel=1e-3)
    assert 0 < without_one < said


def test_what_one_value_says_is_bounded() -> None:
    said = against(np.array([0.2, 0.5, 5.0]), np.full(3, SPREAD**2), np.zeros(1))[:, 0]
    assert said[0] == said[1] == said[2] < SURE
    assert said[0] > 3.0**2


def test_two_wild_values_of_four_are_no_lean_but_four_alike_are() -> None:
    wild, alike = np.array([0.34, 0.05, 0.01, 0.48]), np.array([0.20, 0.22, 0.19, 0.23])
    assert said_for_lean(wild, variances(wild), LEAN) < CHANCE
    assert said_for_lean(alike, variances(alike), LEAN) > SURE


def test_a_step_that_one_value_carries_is_none_without_it() -> None:
    values = np.array([0.01, -0.02, 0.0, 0.03, -0.01, 0.02, -0.01, -0.02, 0.02, 0.03, 0.01, 0.12])
    said, without_one = said_for_step(values, variances(values), 9, LEAN)
    assert without_one < CHANCE < said


def test_three_values_alike_are_a_step_and_three_far_from_each_other_are_less_of_one() -> None:
    before = np.array([0.02, -0.03, 0.01, 0.0, -0.01, 0.03, -0.02])
    alike, unlike = (np.concatenate([before, since]) for since in ([-0.3, -0.31, -0.28], [-0.2, 0.01, -0.4]))
    of_alike, of_unlike = (said_for_step(values, variances(values), 7, LEAN) for values in (alike, unlike))
    assert of_alike[1] > SURE
    assert of_unlike[0] < SURE
    assert of_unlike[1] < CHANCE


def test_nothing_says_nothing() -> None:
    assert said_for_lean(np.empty(0), np.empty(0), LEAN) == 0.0

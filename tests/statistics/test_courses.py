"""The step of a course is the generalised least squares one, and wild units leave no mark on it."""

import numpy as np
import pytest

from registry.statistics.courses import Course

UNITS, BUILDS = 14, 3


def course(rng: np.random.Generator) -> Course:
    """Units of builds that scatter and are held differently."""
    build = rng.integers(0, BUILDS, UNITS)
    variance, held = rng.uniform(0.5, 2.0, BUILDS), rng.uniform(0.1, 0.5, BUILDS)
    return Course(rng.normal(size=UNITS), np.arange(UNITS, dtype=float), build, variance[build], held[build])


@pytest.mark.parametrize("lean", [0.3, 2.0, np.inf])
def test_steps_are_those_of_generalised_least_squares(lean: float) -> None:
    one = course(np.random.default_rng(61))
    covariance = np.diag(one.variance) + np.where(one.build[:, None] == one.build, one.held, 0.0)
    inverse = np.linalg.inv(covariance)
    found = one.steps(lean)
    for place in range(1, UNITS):
        design = np.stack([np.ones(UNITS), (np.arange(UNITS) >= place).astype(float)])
        information = design @ inverse @ design.T + np.diag([lean**-2.0, 0.0])
        spread = np.linalg.inv(information)
        assert found.variances[place - 1] == pytest.approx(spread[1, 1])
        assert found.sizes[place - 1] == pytest.approx((spread @ design @ inverse @ one.apart)[1])


def test_a_wild_unit_is_left_out_and_a_step_of_three_units_is_kept() -> None:
    apart = np.random.default_rng(62).normal(0, 0.02, UNITS)
    apart[-3:] += 0.1
    apart[4] = 0.6
    ones = np.ones(UNITS)
    kept = Course(apart, np.arange(UNITS) * 1.0, np.zeros(UNITS, int), 0.02**2 * ones, 1e-5 * ones).tamed()
    assert kept.at.tolist() == [k for k in range(UNITS) if k != 4]
    assert kept.apart.tolist() == np.delete(apart, 4).tolist()
    assert kept.variance == pytest.approx(0.02**2, rel=0.2)


def test_what_came_later_is_left_of_a_course() -> None:
    one = course(np.random.default_rng(63))
    later = one.after(5.0)
    assert later.at.tolist() == list(range(5, UNITS))
    assert later.held.tolist() == one.held[5:].tolist()

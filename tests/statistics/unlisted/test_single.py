"""A change that one clinic or one unit explains is no build's."""

import numpy as np
import pytest

from registry.statistics.unlisted.along import Outcome, split_along
from registry.statistics.unlisted.change import change_between
from registry.statistics.unlisted.single import gain_of_own_step, hangs_on_a_unit, is_one_clinics
from registry.statistics.unlisted.within import Within
from tests.statistics.unlisted.benched import channel, quiet, rows

CLINIC = np.arange(24) % 3
AFTER = (np.arange(24) >= 12).astype(float)


def made(*, by: float, of: tuple[int, ...], seed: int = 1) -> np.ndarray:
    value = quiet(np.random.default_rng(seed), CLINIC)
    value[(AFTER > 0) & np.isin(CLINIC, of)] += by
    return value


@pytest.mark.parametrize("seed", range(5))
def test_a_clinics_own_step_explains_what_it_alone_reads(seed) -> None:
    alone, all_of_them = made(by=-0.1, of=(1,), seed=seed), made(by=-0.1, of=(0, 1, 2), seed=seed)
    assert is_one_clinics(rows(alone, CLINIC), AFTER)
    assert not is_one_clinics(rows(all_of_them, CLINIC), AFTER)


def test_a_clinics_own_step_may_lie_elsewhere_than_the_change() -> None:
    value = quiet(np.random.default_rng(3), CLINIC)
    value[(CLINIC == 2) & (np.arange(24) >= 18)] -= 0.15
    within = Within(rows(value, CLINIC))
    assert gain_of_own_step(within, 2) > 4 * max(gain_of_own_step(within, clinic) for clinic in (0, 1))


def test_a_clinic_of_one_unit_has_no_step_of_its_own() -> None:
    clinic = np.array([0, 0, 1, 0, 0])
    assert gain_of_own_step(Within(rows(np.arange(5.0), clinic)), 1) == 0.0


def test_a_change_of_many_units_hangs_on_none() -> None:
    table = rows(made(by=-0.1, of=(0, 1, 2)), CLINIC)
    fitted = change_between(table, AFTER)
    assert fitted is not None
    assert not hangs_on_a_unit(table, AFTER, fitted)


def test_few_wild_units_make_no_change() -> None:
    for seed in range(6):
        rng = np.random.default_rng(seed)
        value, clinic = quiet(rng, np.arange(16) % 4), np.arange(16) % 4
        value[rng.choice(np.arange(8, 16), 3, replace=False)] -= 0.25
        assert split_along([channel(value, clinic)]).outcome is not Outcome.FOUND

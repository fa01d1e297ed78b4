"""Variance components: right on average however the table lies, silent where they must be."""

import numpy as np
import pytest

from registry.statistics.components import components
from tests.statistics.tables import cells_from_runs, nested_layout, simulated

UNBALANCED = [
    (unit, clinic, runs)
    for unit, clinic, runs in [
        *((u, 0, 2) for u in range(6)),
        *((u, 1, 5) for u in range(6, 8)),
        *((u, 2, 3) for u in range(8, 11)),
        *((u, 3, 1) for u in range(11, 20)),
        *((u, 4, 4) for u in range(20, 22)),
    ]
]
# Three units go round all clinics, and two clinics have units of their own besides.
ROUND = [*((u, c, 3) for u in range(3) for c in range(6)), (3, 0, 3), (4, 0, 2), (5, 1, 2)]


@pytest.mark.parametrize("layout", [nested_layout(6, 4, 3), UNBALANCED, ROUND])
def test_estimates_are_right_on_average(layout: list[tuple[int, int, int]]) -> None:
    rng = np.random.default_rng(7)
    found = [components(simulated(rng, layout, clinic=2.0, unit=3.0, run=1.0)) for _ in range(3000)]
    assert np.mean([f.repeat for f in found]) == pytest.approx(1.0, rel=0.03)
    assert np.mean([f.unit for f in found]) == pytest.approx(9.0, rel=0.06)
    # Estimates below nought are cut off, which lifts the average a little.
    assert np.mean([f.clinic for f in found]) == pytest.approx(4.0, rel=0.25)


def test_clinics_that_agree_give_no_clinic_component() -> None:
    rng = np.random.default_rng(8)
    layout = nested_layout(20, 10, 3)
    found = [components(simulated(rng, layout, clinic=0.0, unit=3.0, run=1.0)).clinic for _ in range(200)]
    assert min(found) == 0.0
    assert np.mean(found) < 0.3


def test_one_unit_a_clinic_cannot_be_told_apart() -> None:
    table = cells_from_runs([(k, k, [100.0 + k, 100.5 + k]) for k in range(5)])
    found = components(table)
    assert (found.unit, found.clinic, found.reproducibility) == (None, None, None)
    assert found.between == pytest.approx(2.5 - 0.125 / 2)


def test_one_clinic_has_no_clinic_component_and_one_unit_no_unit_component() -> None:
    lone_clinic = components(cells_from_runs([(k, 0, [10.0 + k, 10.2 + k]) for k in range(4)]))
    assert lone_clinic.clinic is None
    assert lone_clinic.unit == pytest.approx(5 / 3 - 0.01, rel=1e-6)
    lone_unit = components(cells_from_runs([(0, c, [10.0 + c, 10.2 + c]) for c in range(4)]))
    assert lone_unit.unit is None
    assert lone_unit.reproducibility == pytest.approx(5 / 3 - 0.01 + 0.02, rel=1e-6)


def test_without_repeats_there_is_no_repeatability() -> None:
    found = components(cells_from_runs([(k, k // 3, [10.0 + k]) for k in range(9)], random=0.5))
    assert (found.repeat, found.reproducibility) == (None, None)
    assert found.unit is not None
    single = components(cells_from_runs([(0, 0, [1.0])]))
    assert (single.unit, single.clinic, single.between) == (None, None, None)

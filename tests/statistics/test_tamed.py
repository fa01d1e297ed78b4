"""Which means are taken for wild and reined in, and which are left alone."""

import numpy as np
import pytest

from registry.statistics.nested import Cells, tamed
from registry.statistics.precision import summarise


def _table(clinic: list[int], unit: list[int], mean: np.ndarray) -> Cells:
    rows = len(clinic)
    return Cells(
        unit=np.array(unit),
        clinic=np.array(clinic),
        mean=mean,
        runs=np.full(rows, 2.0),
        systematic=np.full(rows, 0.001),
        random=0.05,
        squares=0.0025 * rows,
        freedom=rows,
    )


def _reined(table: Cells) -> list[int]:
    """The units whose means were changed."""
    return np.unique(table.unit[tamed(table).mean != table.mean]).tolist()


@pytest.mark.parametrize(("clinics", "own", "most"), [(4, 3, 0.1), (4, 4, 0.15), (12, 3, 0.25), (2, 5, 0.1)])
def test_sound_units_are_seldom_taken_for_wild(clinics: int, own: int, most: float) -> None:
    """Where a scale counts medians themselves, a third of communities with three a clinic lose one."""
    rng = np.random.default_rng(11)
    clinic = np.repeat(np.arange(clinics), own)
    lost = 0
    for _ in range(300):
        means = 100 + rng.normal(0, 0.5, clinics)[clinic] + rng.normal(0, 1.4, clinic.size)
        lost += bool(_reined(_table(clinic.tolist(), list(range(clinic.size)), means)))
    assert lost / 300 <= most


def test_a_wild_unit_at_a_clinic_of_three_is_reined_in() -> None:
    rng = np.random.default_rng(3)
    clinic = np.repeat(np.arange(6), 3)
    means = 100 + rng.normal(0, 1.0, 18)
    means[4] += 15
    kept = tamed(_table(clinic.tolist(), list(range(18)), means)).mean
    assert abs(kept[4] - 100) < 3


def test_a_unit_that_reads_alike_everywhere_makes_no_clinic_lean() -> None:
    """Cycle rates at one setting: unit 0 went round four clinics, which have one or two of their own."""
    clinic = [0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3]
    unit = [0, 1, 2, 0, 3, 4, 0, 5, 6, 0, 7]
    means = [69.67, 70.58, 70.52, 69.69, 69.37, 72.42, 69.62, 71.77, 71.72, 69.66, 70.01]
    table = _table(clinic, unit, np.array(means))
    found = summarise(table)
    assert found.reined == 0
    assert found.centre == pytest.approx(70.76, abs=0.15)  # the mean of the eight units
    assert found.clinic == pytest.approx(0, abs=0.1)

"""What a clinic does to a centre, against leaving it out for good."""

import numpy as np
import pytest

from registry.statistics.precision import summarise
from tests.statistics.tables import cells_from_runs, nested_layout, simulated


def test_a_shift_is_what_leaving_the_clinic_out_does() -> None:
    """Spreads are what gauges declare here, so leaving a clinic out changes no other's weight."""
    table = simulated(
        np.random.default_rng(3), nested_layout(6, 3, 3), clinic=0.5, unit=1.0, run=0.5, systematic=3.0
    )
    found = summarise(table)
    weights = [one.weight for one in found.influence]
    assert sum(weights) == pytest.approx(1.0)
    for one in found.influence:
        kept = table.clinic != one.clinic
        rest = summarise(
            cells_from_runs(
                [
                    (k, np.unique(table.clinic[kept]).searchsorted(c), [m])
                    for k, (c, m) in enumerate(zip(table.clinic[kept], table.mean[kept], strict=True))
                ],
                systematic=3.0,
            )
        )
        assert found.centre + one.shift == pytest.approx(rest.centre, abs=0.1)
        assert (one.units, one.runs) == (3, 9)


def test_a_clinic_that_reads_high_is_seen_though_it_is_reined_in() -> None:
    table = simulated(
        np.random.default_rng(4), nested_layout(8, 2, 3), clinic=0.5, unit=1.0, run=0.5, systematic=0.5
    )
    table.mean[table.clinic == 3] += 60.0
    found = summarise(table)
    odd = found.influence[3]
    assert odd.apart == pytest.approx(60, abs=3)
    assert abs(odd.shift or 0.0) < 0.5
    assert max(abs(one.shift or 0.0) for one in found.influence) < 0.5


def test_the_only_clinic_cannot_be_left_out() -> None:
    (only,) = summarise(cells_from_runs([(k, 0, [10.0 + k, 10.2 + k]) for k in range(4)])).influence
    assert (only.shift, only.weight, only.units) == (None, pytest.approx(1.0), 4)

"""The trial of stated chances, in short."""

import numpy as np
import pytest

from tests.trial.communities import MEAN, RATE, VACUUM, Spreads, fixed_plan, read
from tests.trial.stated import KINDS, NEEDS, reliability, stated


@pytest.mark.parametrize("kind", ["sound", "bound by 0.9", "bound by -0.9, 5 % wild"])
def test_stated_chances_come_true(kind: str) -> None:
    found = stated(KINDS[kind], 100, seed=11)
    assert found.keys() == NEEDS.keys()
    for chances, met in found.values():
        off = chances - met
        assert abs(float(off.mean())) <= 0.02 + 3 * float(off.std()) / off.size**0.5
        table = list(reliability(chances, met, bins=2))
        assert len(table) == 2
        assert all(abs(said - share) <= 0.12 for said, share, _ in table)


def test_metrics_of_units_and_of_those_ahead_are_bound_as_told() -> None:
    rng = np.random.default_rng(7)
    still = Spreads(bound=-0.9, gain=0.0, zero=0.0, rate_repeat=0.0, vacuum_repeat=0.0)
    centres = {"rate": [[70.0]], "vacuum": [[240.0]], "mean": [[100.0]]}
    found = read(
        rng, fixed_plan(4, 200, 1), spreads=still, **{name: np.array(of) for name, of in centres.items()}
    )
    units = found.frame.pivot_table(index="unit", columns="metric", values="mean")[[RATE, VACUUM, MEAN]]
    ahead = found.aheads(rng, 0, 0, 2000)
    for told in (units.to_numpy().T, [ahead[metric] for metric in (RATE, VACUUM, MEAN)]):
        assert np.corrcoef(told)[np.triu_indices(3, 1)] == pytest.approx([-0.9, 0.81, -0.9], abs=0.04)

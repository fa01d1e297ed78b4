"""The demo's double pump: its sides differ as simulated, so its imbalance is a check and not a picture."""

import pytest

from registry.waveform import measure_sides
from seed_demo.driver.double import disagreements
from seed_demo.scenario.double import LATER_S, WEAKER_MMHG, make_double


def test_the_sides_differ_as_simulated():
    sides = measure_sides(make_double().data)
    assert not sides.left.holds
    assert not sides.right.holds
    assert sides.imbalance["peak_vacuum"].value == pytest.approx(WEAKER_MMHG, abs=4)
    assert sides.imbalance["phase"].value == pytest.approx(LATER_S, abs=0.05)


@pytest.mark.parametrize(
    ("peak", "phase", "wrong"),
    [(WEAKER_MMHG, LATER_S, 0), (-WEAKER_MMHG, LATER_S, 1), (WEAKER_MMHG, -LATER_S, 1), (0.0, 0.0, 2)],
)
def test_what_disagrees_is_told(peak, phase, wrong):
    imbalance = {"peak_vacuum": {"value": peak}, "phase": {"value": phase}}
    assert len(disagreements({"imbalance": imbalance})) == wrong
    assert len(disagreements({})) == 2

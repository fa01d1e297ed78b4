"""A small, fixed part of the trial (tests/waveform/trial.py), with the targets of the measurement."""

import numpy as np
import pytest

from .lost import losses
from .trial import COVERAGES, accuracy, coverage

# Wide enough for the scatter of sixty traces: three standard deviations of a binomial share of 0.95.
FEWEST_WITHIN = 0.86


def test_errors_stay_within_their_limits():
    for name, found in accuracy(100, seed=20).items():
        share = np.array(found.share)
        assert np.mean(share <= 1.0) >= 0.98, name
        assert np.median(share) < 0.25, name


@pytest.mark.parametrize("label", COVERAGES)
def test_two_standard_uncertainties_hold_the_truth(label):
    for name, found in coverage(60, seed=21, **COVERAGES[label]).items():
        within = np.mean(np.abs(found.z) <= 2)
        assert within >= FEWEST_WITHIN, name


def test_loss_events_are_found_and_nothing_else_is():
    found = losses(60, seed=22)
    assert found.both > 100
    assert found.precision >= 0.98
    assert found.recall >= 0.98
    assert found.right_kind >= 0.95
    assert np.quantile(np.abs(found.off), 0.99) < 0.5

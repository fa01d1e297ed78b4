"""A round's assigned value and scores against another implementation of ISO 13528, on its Annex E.4.

Values of 21 laboratories as reproduced, with attribution, in the tests of the package pt13528; the standard
itself was not opened. The printed example has a reference value from outside; here the laboratories make
their own, so that the comparison is with the package's functions.
"""

import numpy as np
import pytest
from pt13528 import assigned_value, scores

from registry.statistics.rounds import score_round
from tests.outside.test_scores_iso13528 import E4

SIGMA = 0.0066
VALUES = np.array([row[0] for row in E4.values()])
DOUBTS = np.array([row[1] / row[2] for row in E4.values()])


def test_the_assigned_value_is_the_robust_mean_with_its_uncertainty() -> None:
    found = score_round(VALUES, DOUBTS, SIGMA)
    theirs = assigned_value.consensus(VALUES, method="algorithm_a")
    assert found.assigned == pytest.approx(theirs.x_pt, rel=1e-3)
    assert found.u_assigned == pytest.approx(theirs.u_x_pt, rel=1e-2)
    assert found.u_assigned == pytest.approx(assigned_value.u_robust(found.robust, VALUES.size))


def test_z_and_z_prime_follow_from_it() -> None:
    found = score_round(VALUES, DOUBTS, SIGMA)
    for value, one in zip(VALUES, found.scores, strict=True):
        assert one.z == pytest.approx(scores.z_score(value, found.assigned, SIGMA))
        assert one.z_prime == pytest.approx(
            scores.z_prime_score(value, found.assigned, SIGMA, found.u_assigned)
        )
    small = scores.uncertainty_negligible(found.u_assigned, SIGMA)
    assert found.by == ("z" if small else "z_prime")

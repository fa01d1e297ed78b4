"""Scores of ISO 13528:2022 Annex E.4: 21 laboratories against an assigned value, to the printed two decimals.

Numbers as reproduced, with attribution, in the tests of the package pt13528 (kanunimurat/pt13528,
`tests/annex_e_data.py` and `tests/printed_values.py`); the standard itself was not opened.
"""

import numpy as np
import pytest
from pt13528 import scores as theirs

from registry.statistics.scores import (
    en_mark,
    en_scores,
    mark,
    negligible,
    z_prime_scores,
    z_scores,
    zeta_scores,
)

ASSIGNED, EXPANDED, SIGMA = 0.044, 0.0082, 0.0066
# Laboratory: value, expanded uncertainty, coverage factor; then z, z', zeta and E_n as printed.
E4 = {
    "L04": (0.013, 0.003, 2, -4.70, -3.99, -7.10, -3.55),
    "L05": (0.013, 0.007, 2, -4.70, -3.99, -5.75, -2.88),
    "L23": (0.0135, 0.00108, 1.732, -4.62, -3.93, -7.35, -3.69),
    "L02": (0.014, 0.004, 2, -4.55, -3.86, -6.58, -3.29),
    "L15": (0.014, 0.0005, 2, -4.55, -3.86, -7.30, -3.65),
    "L06": (0.016, 0.003, 2, -4.24, -3.60, -6.41, -3.21),
    "L09": (0.017, 0.008, 2, -4.09, -3.47, -4.71, -2.36),
    "L26": (0.019, 0.003, 2, -3.79, -3.22, -5.73, -2.86),
    "L12": (0.0239, 0.0036, 2, -3.05, -2.59, -4.49, -2.24),
    "L03": (0.037, 0.013, 2, -1.06, -0.90, -0.91, -0.46),
    "L29": (0.039, 0.007, 2, -0.76, -0.64, -0.93, -0.46),
    "L07": (0.04, 0.008, 2, -0.61, -0.51, -0.70, -0.35),
    "L21": (0.04, 0.03, 2, -0.61, -0.51, -0.26, -0.13),
    "L25": (0.04, 0.01, 2, -0.61, -0.51, -0.62, -0.31),
    "L16": (0.0424, 0.008, 2, -0.24, -0.21, -0.28, -0.14),
    "L08": (0.044, 0.007, 2, 0.00, 0.00, 0.00, 0.00),
    "L10": (0.045, 0.007, 2, 0.15, 0.13, 0.19, 0.09),
    "L24": (0.045, 0.005, 2, 0.15, 0.13, 0.21, 0.10),
    "L18": (0.046, 0.007, 2, 0.30, 0.26, 0.37, 0.19),
    "L28": (0.049, 0.0072, 2, 0.76, 0.64, 0.92, 0.46),
    "L01": (0.053, 0.007, 2, 1.36, 1.16, 1.67, 0.83),
}
VALUES, OWN, FACTOR, *PRINTED = np.array(list(E4.values())).T
U_ASSIGNED = EXPANDED / 2


def test_all_scores_as_printed() -> None:
    found = [
        z_scores(VALUES, ASSIGNED, SIGMA),
        z_prime_scores(VALUES, ASSIGNED, SIGMA, U_ASSIGNED),
        zeta_scores(VALUES, ASSIGNED, OWN / FACTOR, U_ASSIGNED),
        en_scores(VALUES, ASSIGNED, OWN, EXPANDED),
    ]
    # Printed to two decimals; a hair is added for figures that end on a five.
    assert np.array(found) == pytest.approx(np.array(PRINTED), abs=0.005 + 1e-4)


@pytest.mark.parametrize("lab", E4)
def test_each_score_agrees_with_another_library(lab) -> None:
    value, own, factor, *_ = E4[lab]
    assert z_scores(value, ASSIGNED, SIGMA) == pytest.approx(theirs.z_score(value, ASSIGNED, SIGMA))
    assert z_prime_scores(value, ASSIGNED, SIGMA, U_ASSIGNED) == pytest.approx(
        theirs.z_prime_score(value, ASSIGNED, SIGMA, U_ASSIGNED)
    )
    zeta = theirs.zeta_score(value, ASSIGNED, own / factor, U_ASSIGNED)
    assert zeta_scores(value, ASSIGNED, own / factor, U_ASSIGNED) == pytest.approx(zeta)
    assert en_scores(value, ASSIGNED, own, EXPANDED) == pytest.approx(
        theirs.en_score(value, ASSIGNED, own, EXPANDED)
    )


@pytest.mark.parametrize("score", [0.0, -0.99, 1.0, 2.0, -2.0, 2.01, -2.99, 3.0, 7.0])
def test_marks_agree_with_another_library(score) -> None:
    assert mark(score) == theirs.classify_z(score)
    assert (en_mark(score) == "action") == (theirs.classify_en(score) != theirs.classify_en(0.0))


def test_the_assigned_value_of_e4_is_too_uncertain_for_z() -> None:
    # 0.0041 is not below 0.3 * 0.0066 = 0.00198, which is why z' is given there.
    assert not negligible(U_ASSIGNED, SIGMA)
    assert theirs.uncertainty_negligible(U_ASSIGNED, SIGMA) is False

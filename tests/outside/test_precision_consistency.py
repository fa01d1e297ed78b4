"""Mandel's h and k, Cochran's and Grubbs' tests: worked examples, tables of limits, another library."""

import numpy as np
import pytest
from pt13528 import outliers
from scipy import stats

from registry.statistics.components import components
from registry.statistics.consistency import (
    cochran,
    cochran_limit,
    grubbs,
    grubbs_limit,
    grubbs_pair,
    grubbs_pair_limit,
    mandel_h,
    mandel_h_limit,
    mandel_k,
    mandel_k_limit,
)
from tests.outside.pentosans import PENTOSANS
from tests.outside.test_precision_e691 import GLUCOSE
from tests.statistics.tables import cells_from_runs

# h and k of ASTM E691's examples, per laboratory, computed apart from this repository from the same values.
GLUCOSE_H = {
    "A": [-0.3877, -0.1292, -0.1127, -0.1017, -0.0907, 0.8277, -1.7516, 1.7461],
    "B": [-1.3592, -0.4450, 0.2231, 1.8487, -0.9869, 0.2132, -0.1591, 0.6653],
    "C": [-0.8792, 0.3911, -0.0783, 1.5924, -0.8390, 1.0866, -1.2835, 0.0098],
    "D": [-0.4112, 0.1501, -1.0124, 0.9619, -0.6424, 0.9735, -1.3322, 1.3126],
    "E": [-0.4600, 1.6429, -0.6766, 0.4931, -0.3449, 0.1725, -1.6172, 0.7901],
}
GLUCOSE_K = {
    "A": [0.2097, 0.4562, 0.9977, 1.7040, 0.3448, 1.3244, 1.1736, 0.7735],
    "B": [0.1058, 0.8876, 0.5555, 1.8466, 0.5187, 1.0948, 1.3784, 0.3388],
    "C": [0.3829, 1.4047, 1.1201, 1.0158, 0.7767, 0.8339, 1.3764, 0.6332],
    "D": [0.0229, 1.7837, 0.6069, 0.7377, 0.7172, 0.6284, 1.4543, 0.9386],
    "E": [0.1847, 2.3347, 0.6887, 0.2245, 0.2425, 1.0252, 0.8397, 0.4188],
}
# Repeatability, reproducibility, the laboratory with the largest k, and that k, for pentosans: computed apart
# from this repository. Published standard deviations, remembered to three decimals, differ by at most 0.0006.
PENTOSANS_FOUND = {
    "A": (0.01499, 0.11373, 1, 1.9257),
    "B": (0.032198, 0.051888, 1, 2.2396),
    "C": (0.142937, 0.195703, 1, 2.6055),
    "D": (0.03748, 0.07418, 1, 2.6187),
    "E": (0.039581, 0.062737, 1, 2.3155),
    "F": (0.032514, 0.208825, 5, 1.6275),
    "G": (0.133041, 0.242821, 1, 2.4736),
    "H": (0.193649, 0.58475, 7, 2.087),
    "I": (0.215639, 1.104224, 7, 1.7557),
}
# Cochran's C at 5 %: 44 values as tabulated by the UK's National Measurement System, nmschembio.org.uk
# (page 5622). Rows are laboratories, columns results per laboratory from 2 to 5.
COCHRAN_5 = {
    2: [0.998, 0.975, 0.939, 0.906],
    3: [0.967, 0.871, 0.798, 0.746],
    4: [0.906, 0.768, 0.684, 0.629],
    5: [0.841, 0.684, 0.598, 0.544],
    6: [0.781, 0.616, 0.532, 0.480],
    7: [0.727, 0.561, 0.480, 0.431],
    8: [0.680, 0.516, 0.438, 0.391],
    9: [0.638, 0.477, 0.403, 0.358],
    10: [0.602, 0.445, 0.373, 0.331],
    15: [0.471, 0.335, 0.276, 0.242],
    20: [0.389, 0.270, 0.221, 0.192],
}
# ISO 5725-2's table for Grubbs' test of a pair: upper 1 % and 5 % columns, from memory.
GRUBBS_PAIR = {
    4: (0.0000, 0.0002),
    5: (0.0018, 0.0090),
    6: (0.0116, 0.0349),
    7: (0.0308, 0.0708),
    8: (0.0563, 0.1101),
    9: (0.0851, 0.1492),
    10: (0.1150, 0.1864),
    12: (0.1738, 0.2537),
}


def described(results):
    values = np.asarray(results, float)
    return values.mean(axis=1), values.std(axis=1, ddof=1)


@pytest.mark.parametrize("material", GLUCOSE)
def test_h_and_k_of_glucose(material) -> None:
    means, spreads = described(GLUCOSE[material])
    assert mandel_h(means) == pytest.approx(GLUCOSE_H[material], abs=1e-4)
    assert mandel_k(spreads, 2) == pytest.approx(GLUCOSE_K[material], abs=1e-4)


def test_e691_lines_for_eight_laboratories_and_three_results() -> None:
    """ASTM E691 Table 5 at 0.5 %: h 2.15, k 2.06 (from memory). Only laboratory 2's k in E lies beyond."""
    h_limit, k_limit = mandel_h_limit(8), mandel_k_limit(8, 2)[0]
    assert round(h_limit, 2) == 2.15
    assert round(k_limit, 2) == 2.06
    beyond = {
        (material, int(lab) + 1)
        for material, results in GLUCOSE.items()
        for lab in np.flatnonzero(mandel_k(described(results)[1], 2) > k_limit)
    }
    assert beyond == {("E", 2)}
    assert all(np.abs(mandel_h(described(results)[0])).max() < h_limit for results in GLUCOSE.values())


@pytest.mark.parametrize("material", PENTOSANS)
def test_pentosans(material) -> None:
    s_r, s_reproducibility, lab, k = PENTOSANS_FOUND[material]
    found = components(cells_from_runs([(0, at, row) for at, row in enumerate(PENTOSANS[material])]))
    assert found.repeat is not None
    assert found.reproducibility is not None
    assert np.sqrt(found.repeat) == pytest.approx(s_r, abs=1e-6)
    assert np.sqrt(found.reproducibility) == pytest.approx(s_reproducibility, abs=1e-6)
    spread = mandel_k(described(PENTOSANS[material])[1], 2)
    assert (int(np.argmax(spread)) + 1, spread.max()) == (lab, pytest.approx(k, abs=1e-4))


@pytest.mark.parametrize(("labs", "row"), COCHRAN_5.items())
def test_cochran_limits_as_tabulated(labs, row) -> None:
    # The table gives 0.998 for two laboratories of two results, where 0.99846 is exact.
    found = [cochran_limit(labs, results - 1, 0.05)[0] for results in (2, 3, 4, 5)]
    assert np.round(found, 3) == pytest.approx(row, abs=1e-9)


@pytest.mark.parametrize(("labs", "row"), GRUBBS_PAIR.items())
def test_limits_of_a_pair_as_tabulated(labs, row) -> None:
    found = (grubbs_pair_limit(labs, 0.01), grubbs_pair_limit(labs, 0.05))
    assert found == pytest.approx(row, abs=6e-5)


@pytest.mark.parametrize("labs", [3, 4, 7, 12, 30])
def test_limits_agree_with_another_library(labs) -> None:
    """pt13528 0.1.8, which follows the tables of ISO 5725-2."""
    for level in (0.05, 0.01):
        assert grubbs_limit(labs, level) == pytest.approx(outliers.grubbs_critical(labs, level), rel=1e-9)
        for results in (2, 3, 6):
            mine = cochran_limit(labs, results - 1, level)[0]
            assert mine == pytest.approx(outliers.cochran_critical(labs, results, level), rel=1e-9)


def test_one_sided_grubbs_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.17: G 2.4687, one-sided 5 % limit 2.032 (from memory)."""
    values = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    found = grubbs(values)
    assert (found.rows, found.statistic) == ((7,), pytest.approx(2.4687, abs=1e-4))
    # A two-sided test at 10 % is a one-sided one at 5 %.
    assert grubbs_limit(8, 0.10) == pytest.approx(2.032, abs=5e-4)
    assert found.standing == "outlier"


def test_k_limits_in_the_f_form_of_the_standard() -> None:
    for labs, results in ((5, 2), (8, 3), (20, 6)):
        f = stats.f.ppf(0.95, results - 1, (labs - 1) * (results - 1))
        expected = np.sqrt(labs / (1 + (labs - 1) / f))
        assert mandel_k_limit(labs, results - 1, 0.05) == pytest.approx(np.full(labs, expected))


# ISO 5725-2 B.3: thermometric titration of creosote oil, per cent, 9 laboratories of two results at 5 levels.
# Results and printed figures from memory; the nine means of level 5 agree with those of R's metRology.
CREOSOTE = {
    1: [
        [4.44, 4.39],
        [4.03, 4.23],
        [3.7, 3.7],
        [4.1, 4.1],
        [3.97, 4.04],
        [3.75, 4.03],
        [3.7, 3.8],
        [3.91, 3.9],
        [4.02, 4.07],
    ],
    2: [
        [9.34, 9.34],
        [8.42, 8.33],
        [7.6, 7.4],
        [8.93, 8.8],
        [7.89, 8.12],
        [8.76, 9.24],
        [8.0, 8.3],
        [8.04, 8.07],
        [8.44, 8.17],
    ],
    3: [
        [17.4, 16.9],
        [14.42, 14.5],
        [13.6, 13.6],
        [14.6, 14.2],
        [13.73, 13.92],
        [13.9, 14.06],
        [14.1, 14.2],
        [14.84, 14.84],
        [14.24, 14.1],
    ],
    4: [
        [19.23, 19.23],
        [16.06, 16.22],
        [14.5, 15.1],
        [15.6, 15.5],
        [15.54, 15.78],
        [16.42, 16.58],
        [14.9, 16.0],
        [15.41, 15.22],
        [15.14, 15.44],
    ],
    5: [
        [24.28, 24.0],
        [20.4, 19.91],
        [19.3, 19.7],
        [20.3, 20.3],
        [20.53, 20.88],
        [18.56, 16.58],
        [19.7, 20.5],
        [21.1, 20.78],
        [20.71, 21.66],
    ],
}
LEVEL_5_MEANS = [24.140, 20.155, 19.500, 20.300, 20.705, 17.570, 20.100, 20.940, 21.185]


def test_creosote_by_the_tests_of_the_standard() -> None:
    assert described(CREOSOTE[5])[0] == pytest.approx(LEVEL_5_MEANS)
    fourth, fifth = (cochran(described(CREOSOTE[level])[1], 1) for level in (4, 5))
    # Printed: 0.667 against 0.638 (5 %) and 0.754 (1 %), laboratory 7 a straggler; 0.636 at level 5, within.
    assert (fourth.rows, fourth.standing) == ((6,), "straggler")
    assert (fourth.statistic, fourth.limit_5, fourth.limit_1) == pytest.approx(
        (0.667, 0.638, 0.754), abs=5e-4
    )
    assert (fifth.rows, fifth.standing) == ((5,), "")
    assert fifth.statistic == pytest.approx(0.636, abs=5e-4)
    # Laboratory 1 stands alone at the upper end of levels 3 and 4.
    third, fourth = (grubbs(described(CREOSOTE[level])[0]) for level in (3, 4))
    assert third.rows == fourth.rows == (0,)
    assert third.standing == fourth.standing == "outlier"


def test_grubbs_agrees_with_another_library_on_creosote() -> None:
    for results in CREOSOTE.values():
        means, _ = described(results)
        high, low, limit = outliers.grubbs(means, 0.01)
        found = grubbs(means)
        assert found.statistic == pytest.approx(max(high, low))
        assert found.limit_1 == pytest.approx(limit)


@pytest.mark.parametrize(
    ("level", "without", "mean", "s_r", "s_reproducibility"),
    [
        (1, {1}, 3.94, 0.092, 0.171),
        (2, {1}, 8.28, 0.179, 0.498),
        (3, {1}, 14.18, 0.127, 0.400),
        (4, {1}, 15.59, 0.337, 0.579),
        (5, {1, 6}, 20.41, 0.393, 0.637),
    ],
)
def test_creosote_without_its_outliers(level, without, mean, s_r, s_reproducibility) -> None:
    kept = [row for lab, row in enumerate(CREOSOTE[level], start=1) if lab not in without]
    found = components(cells_from_runs([(0, lab, row) for lab, row in enumerate(kept)]))
    assert found.repeat is not None
    assert found.reproducibility is not None
    assert np.mean(kept) == pytest.approx(mean, abs=5e-3)
    assert np.sqrt(found.repeat) == pytest.approx(s_r, abs=5e-4)
    assert np.sqrt(found.reproducibility) == pytest.approx(s_reproducibility, abs=5e-4)


def test_a_pair_of_glucose_laboratories_against_the_definition() -> None:
    means, _ = described(GLUCOSE["D"])
    found = grubbs_pair(means, "high")
    rest = np.delete(means, list(found.rows))
    assert set(found.rows) == set(np.argsort(means)[-2:].tolist())
    assert found.statistic == pytest.approx(rest.var() * rest.size / (means.var() * means.size))
    assert found.standing == ""

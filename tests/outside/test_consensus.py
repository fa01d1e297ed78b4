"""The consensus of laboratories on published data sets, and against statsmodels.

Q, DerSimonian-Laird and REML figures by metafor 3.8-1 in R 4.2.2 (its REML iteration stops early, up to 8e-4
of the variance away, so it is compared to 1e-3); Paule-Mandel roots computed apart from this repository.
"""

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from registry.statistics.consensus import consensus

SETS = {
    # CCQM-K25, PCB 105: values and standard uncertainties as in R's metRology, `man/dsl.Rd`.
    "PCB 105": (
        [10.21, 10.90, 10.94, 10.58, 10.81, 9.62, 10.80],
        [0.381, 0.25, 0.13, 0.41, 0.445, 0.196, 0.093],
    ),
    # Heat of vaporisation of cadmium: R. C. Paule, J. Mandel, J. Res. NBS 87 (1982) 377, variances.
    "cadmium": (
        [27.044, 26.022, 26.34, 26.787, 26.796],
        np.sqrt([0.003, 0.076, 0.464, 0.003, 0.014]).tolist(),
    ),
    # CCQM-K30, lead in wine, without the two excluded: as in metRology's `man/Pb.Rd`.
    # Source: Metrologia 45 (2008) 08001.
    "lead in wine": (
        [2.893, 2.936, 2.94, 2.96, 2.98, 3.0, 3.001, 3.07, 3.13],
        [0.020657277, 0.0125, 0.0165, 0.0333333333, 0.1005025126, 0.05, 0.068, 0.085, 0.06],
    ),
    # CLASP trials, log odds ratios: R. DerSimonian, R. Kacker, Contemp. Clin. Trials 28 (2007) 105, from the
    # counts by metafor.
    "CLASP": (
        [-1.297628724, -1.264877107, 0.120792367, -0.329377389, -0.200670695, -0.128534069],
        np.sqrt(
            [0.3467740318, 0.2656757376, 0.1983895148, 0.0264770837, 0.2232967978, 0.0064985603]
        ).tolist(),
    ),
}
# Mean, its standard uncertainty, and the variance between laboratories.
FOUND = {
    ("PCB 105", "dl"): (10.557083302, 0.1970732133, 0.1978366356),
    ("PCB 105", "reml"): (10.55645225, 0.2031045386, 0.2138578234),
    ("PCB 105", "pm"): (10.557735604, 0.1916245755, 0.1838569399),
    ("cadmium", "dl"): (26.767482329, 0.1164232595, 0.0412699115),
    ("cadmium", "reml"): (26.7152765, 0.1672024132, 0.0995848053),
    ("cadmium", "pm"): (26.7121287483, 0.1711369636, 0.1052193882),
    ("lead in wine", "dl"): (2.958815829, 0.0174138661, 0.0012138024),
    ("lead in wine", "reml"): (2.96772715, 0.0222540724, 0.0025410965),
    ("lead in wine", "pm"): (2.9684771155, 0.0227473637, 0.0027052440),
    ("CLASP", "dl"): (-0.3239968238, 0.1540050568, 0.0539662994),
    ("CLASP", "reml"): (-0.2980378025, 0.134330029, 0.0339592789),
    ("CLASP", "pm"): (-0.3810620355, 0.2059897387, 0.1354745245),
}
Q = {"PCB 105": 37.33693553, "cadmium": 22.63107459, "lead in wine": 20.40671242}


@pytest.mark.parametrize(("name", "method"), FOUND)
def test_mean_uncertainty_and_spread(name, method) -> None:
    found = consensus(*SETS[name], method)
    mean, u, between = FOUND[name, method]
    loose = 1e-3 if method == "reml" else 1e-7
    assert found.value == pytest.approx(mean, rel=0.1 * loose)
    assert found.u == pytest.approx(u, rel=loose)
    assert found.between**2 == pytest.approx(between, rel=loose)


def test_clasp_as_published() -> None:
    """DerSimonian and Kacker (2007), tables 3 and 4: tau, mean, its standard error, to four decimals."""
    published = {
        "pm": (0.3681, -0.3811, 0.2060),
        "dl": (0.2323, -0.3240, 0.1540),
        "reml": (0.1843, -0.2980, 0.1343),
    }
    for method, figures in published.items():
        found = consensus(*SETS["CLASP"], method)
        assert (found.between, found.value, found.u) == pytest.approx(figures, abs=6e-5)


@pytest.mark.parametrize(("name", "q"), Q.items())
def test_sums_of_squares(name, q) -> None:
    assert consensus(*SETS[name]).q == pytest.approx(q, rel=1e-8)


def test_pcb_105_differs_by_more_than_stated() -> None:
    found = consensus(*SETS["PCB 105"], "dl")
    assert found.p_same == pytest.approx(1.513629992e-06, rel=1e-6)
    assert 100 * found.inconsistency == pytest.approx(83.93012197, rel=1e-8)


def test_lead_in_wine_lies_in_its_published_reference_value() -> None:
    """CCQM-K30: 2.99 +- 0.06 (Metrologia 45 (2008) 08001, as in metRology's `man/Pb.Rd`)."""
    for method in ("dl", "pm", "reml"):
        found = consensus(*SETS["lead in wine"], method)
        assert abs(found.value - 2.99) < 0.06
        low, high = found.interval()
        assert high - low == pytest.approx(0.12, abs=0.03)


@pytest.mark.parametrize("method", ["dl", "pm"])
@pytest.mark.parametrize("name", SETS)
def test_against_statsmodels(name, method) -> None:
    values, own = (np.array(column) for column in SETS[name])
    other = combine_effects(values, own**2, method_re=method, use_t=True)
    found = consensus(values, own, method)
    # Its Paule-Mandel iteration stops where the estimating equation is met to 1e-5.
    assert found.value == pytest.approx(other.mean_effect_re, rel=1e-6)
    assert found.between**2 == pytest.approx(other.tau2, rel=1e-5)
    assert found.u == pytest.approx(other.sd_eff_w_re, rel=1e-5)
    assert found.q == pytest.approx(other.q)
    assert found.inconsistency == pytest.approx(other.i2)
    assert found.weights == pytest.approx(other.weights_rel_re, rel=1e-5)
    hartung_knapp = other.conf_int(alpha=0.05, use_t=True)[3]
    assert found.interval(never_narrower=False) == pytest.approx(hartung_knapp, rel=1e-6)


def test_moments_below_nought_are_nought() -> None:
    # statsmodels leaves them below nought (-0.0827 here), which makes the mean surer than its parts allow.
    values, own = np.array([10.0, 10.1, 9.9, 10.05]), np.full(4, 0.3)
    assert combine_effects(values, own**2, method_re="dl").tau2 == pytest.approx(-0.0827, abs=5e-5)
    found = consensus(values, own, "dl")
    assert (found.between, found.u) == (0.0, pytest.approx(0.15))

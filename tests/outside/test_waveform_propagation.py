"""Propagation of uncertainty against worked examples of JCGM 100:2008 (GUM)."""

import numpy as np
import pytest
from scipy.stats import t

from registry.waveform.uncertainty import few, propagate, rectangular, scatter

# JCGM 100:2008, H.2, table H.2: simultaneous resistance and reactance.
V = [5.007, 4.994, 5.005, 4.990, 4.999]
I_MA = [19.663, 19.639, 19.640, 19.685, 19.678]
PHI = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433]


def test_gum_h2_resistance_reactance_impedance():
    data = np.array([V, np.array(I_MA) * 1e-3, PHI])
    means, covariance = data.mean(axis=1), np.cov(data) / data.shape[1]

    def impedance(inputs):
        volt, ampere, phase = inputs
        return np.array([volt / ampere * np.cos(phase), volt / ampere * np.sin(phase), volt / ampere])

    values, spread = propagate(impedance, means, covariance)
    # Table H.4 and H.3: R 127.732 (0.071), X 219.847 (0.295), Z 254.260 (0.236); r -0.588, -0.485, 0.993.
    assert values == pytest.approx([127.732, 219.847, 254.260], abs=1e-3)
    u = np.sqrt(np.diag(spread))
    assert u == pytest.approx([0.071, 0.295, 0.236], abs=6e-4)
    correlation = spread / np.outer(u, u)
    assert correlation[0, 1] == pytest.approx(-0.588, abs=1e-3)
    assert correlation[0, 2] == pytest.approx(-0.485, abs=1e-3)
    assert correlation[1, 2] == pytest.approx(0.993, abs=1e-3)


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

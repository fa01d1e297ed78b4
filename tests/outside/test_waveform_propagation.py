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


def test_gum_h2_by_values_observed_together():
    """H.2.3, second approach: R, X and Z of each of the five sets, then their mean and its scatter."""
    volt, ampere, phase = np.array(V), np.array(I_MA) * 1e-3, np.array(PHI)
    sets = np.array([volt / ampere * np.cos(phase), volt / ampere * np.sin(phase), volt / ampere])
    for values, mean, u in zip(sets, (127.732, 219.847, 254.260), (0.071, 0.295, 0.236), strict=True):
        found = scatter(values, 0.0)
        assert found.mean == pytest.approx(mean, abs=1e-3)
        # `scatter` widens by few(n), which the GUM's first edition leaves to the degrees of freedom.
        assert found.u_mean / np.sqrt(few(5)) == pytest.approx(u, abs=6e-4)


# JCGM 100:2008, H.1, table H.1: calibration of an end gauge, nm, as listed in GTC's documentation (MIT).
# Length of the standard; mean, random and systematic effect of the comparator; difference of expansion, times
# length and mean deviation of temperature; difference of temperature, times length and expansion.
END_GAUGE_NM = {"standard": 25.0, "mean": 5.8, "random": 3.9, "systematic": 6.7}
LENGTH_NM, ALPHA, THETA = 50_000_623.0, 11.5e-6, -0.1
U_ALPHA_DIFFERENCE, U_THETA_DIFFERENCE = 1e-6 / np.sqrt(3), 0.05 / np.sqrt(3)


def test_gum_h1_end_gauge():
    def length(inputs):
        standard, mean, random, systematic, alpha_apart, theta_apart = inputs
        warped = standard * (alpha_apart * THETA + ALPHA * theta_apart)
        return np.array([standard + mean + random + systematic - warped])

    inputs = np.array([LENGTH_NM, 215.0, 0.0, 0.0, 0.0, 0.0])
    u = np.array([*END_GAUGE_NM.values(), U_ALPHA_DIFFERENCE, U_THETA_DIFFERENCE])
    values, spread = propagate(length, inputs, np.diag(u**2))
    # Printed: l = 50 000 838 nm, u_c = 32 nm; 31.66 unrounded.
    assert values[0] == pytest.approx(50_000_838, abs=0.5)
    assert np.sqrt(spread[0, 0]) == pytest.approx(31.66, abs=0.02)


def test_gum_h1_rectangular_inputs():
    # Table H.1: half-widths 1e-6 / K and 0.05 K give 0.58e-6 / K and 0.029 K; 2.9 nm and 16.6 nm of length.
    assert rectangular(1e-6) == pytest.approx(0.58e-6, abs=5e-9)
    assert rectangular(0.05) == pytest.approx(0.029, abs=5e-4)
    assert LENGTH_NM * abs(THETA) * rectangular(1e-6) == pytest.approx(2.88679, abs=1e-3)
    assert LENGTH_NM * ALPHA * rectangular(0.05) == pytest.approx(16.599, abs=1e-2)


# JCGM 100:2008, H.3, table H.6: corrections of a thermometer, deg C, at eleven temperatures.
T_READ = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
CORRECTION = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]


def test_gum_h3_calibration_line():
    apart, correction = np.array(T_READ) - 20.0, np.array(CORRECTION)

    def line(observed):
        return np.polynomial.polynomial.polyfit(apart, observed, 1)

    left = correction - np.polynomial.polynomial.polyval(apart, line(correction))
    s = np.sqrt(left @ left / (apart.size - 2))
    (y1, y2), spread = propagate(line, correction, s**2 * np.eye(apart.size))
    u = np.sqrt(np.diag(spread))
    # H.3.3: y1 -0.1712 (0.0029), y2 0.00218 (0.00067), r -0.930, s 0.0035. At 30 deg C: -0.1494 (0.0041).
    assert s == pytest.approx(0.0035, abs=5e-5)
    assert (y1, y2) == pytest.approx((-0.1712, 0.00218), abs=5e-5)
    assert u == pytest.approx([0.0029, 0.00067], abs=5e-5)
    assert spread[0, 1] / u[0] / u[1] == pytest.approx(-0.930, abs=1e-3)
    value, variance = propagate(lambda y: np.array([y[0] + 10.0 * y[1]]), np.array([y1, y2]), spread)
    assert value[0] == pytest.approx(-0.1494, abs=5e-5)
    assert np.sqrt(variance[0, 0]) == pytest.approx(0.0041, abs=5e-5)


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

"""Conformance, guarded limits and global risks: JCGM 106:2012, and a published table of risks."""

import pytest
from scipy import stats

from registry.statistics.conformity import (
    Tolerance,
    conformance_probability,
    guard_band,
    judge,
    relative_guarded_limit,
)
from registry.statistics.risks import global_risks, guarded


@pytest.mark.parametrize(
    ("wanted", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_guard_bands_of_table_1(wanted, z) -> None:
    """JCGM 106, table 1, in standard uncertainties; from memory."""
    assert guard_band(1.0, wanted) == pytest.approx(z, abs=5e-3)


def test_breakdown_voltage_with_one_limit() -> None:
    """The Zener diode: -5.47 V, u 0.05 V, not above -5.40 V, p 0.92. Numbers from memory."""
    found = conformance_probability(-5.47, 0.05, Tolerance(high=-5.40))
    assert round(found, 2) == 0.92
    assert found == pytest.approx(0.919243, abs=1e-6)
    assert judge(-5.47, 0.05, Tolerance(high=-5.40)).verdict == "undecided"


def test_viscosity_between_two_limits() -> None:
    """The engine oil: 13.6, u 1.8, between 12.5 and 16.3, p 0.66. Numbers from memory."""
    assert round(conformance_probability(13.6, 1.8, Tolerance(12.5, 16.3)), 2) == 0.66


def test_a_speed_beyond_the_limit() -> None:
    """Over 100 km/h at 99.9 %, u 2 % of the speed: from 107 km/h on, rounded up. Numbers from memory."""
    found = relative_guarded_limit(100.0, 0.02, 0.999)
    assert found == pytest.approx(106.5876, abs=1e-4)
    assert found is not None
    assert judge(found + 0.01, 0.02 * found, Tolerance(high=100.0), 0.999).verdict == "not upheld"
    assert judge(found - 0.01, 0.02 * found, Tolerance(high=100.0), 0.999).verdict == "undecided"


def test_ball_bearings() -> None:
    """JCGM 106, 9.5.4: run-out gamma(4, 0.25 um), at most 2 um, u 0.25 um: 4.2 % do not conform; 0.8 % pass.

    Printed figures as in suncal's example notebook "Risk - Ball Bearing" (sandialabs/suncal); the limit for
    0.1 % computed apart from this repository.
    """
    prior, limit = stats.gamma(4, scale=0.25), Tolerance(high=2.0)
    bare = global_risks(prior, 0.25, limit, limit)
    assert round(100 * bare.bad, 1) == 4.2
    assert round(100 * bare.consumer, 1) == 0.8
    assert bare.producer == pytest.approx(0.01744456923, abs=1e-9)
    accepted = guarded(prior, 0.25, limit, 0.001)
    assert accepted.high == pytest.approx(1.67182877156, abs=1e-7)
    assert global_risks(prior, 0.25, limit, accepted).producer == pytest.approx(0.0754938761, abs=1e-7)


@pytest.mark.parametrize(
    ("conforming", "accepted_wrongly", "among_accepted"),
    [
        (0.60, 4.83860326, 8.26008199),
        (0.70, 3.92234109, 5.72322042),
        (0.80, 2.85583037, 3.63227145),
        (0.90, 1.59995312, 1.79880430),
        (0.95, 0.87100925, 0.92389664),
        (0.99, 0.19991684, 0.20243866),
    ],
)
def test_risks_of_a_normal_process(conforming, accepted_wrongly, among_accepted) -> None:
    """NCSLI RP-19 (draft), process four times as wide as the test, limits +-1; per cent.

    As asserted in suncal, `test/test_risk.py`.
    """
    limits = Tolerance(-1.0, 1.0)
    wide = 1 / stats.norm.ppf((1 + conforming) / 2)
    found = global_risks(stats.norm(0, wide), wide / 4, limits, limits)
    assert 100 * found.consumer == pytest.approx(accepted_wrongly, abs=2e-6)
    let_in = 1 - found.bad - found.producer + found.consumer
    assert 100 * found.consumer / let_in == pytest.approx(among_accepted, abs=2e-6)

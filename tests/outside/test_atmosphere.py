"""Elevation to ambient pressure, against the tables of the U.S. Standard Atmosphere 1976 (= ISO 2533 here).

Tables go by geometric or by geopotential elevation, which differ by 1.4 m at 3000 m; the simulator takes the
latter. Pressures in Pa by three libraries (fluids, ambiance, ussa1976) that agree within 0.02 Pa; 95461 at
500 m and 74691 at 2500 m stand in the published table.
"""

import pytest

from registry.answers.comparing.heights import elevation_m
from registry.models.elevation import BOUNDS_KPA, BOUNDS_M
from seed_demo.simulator.air import ambient_kpa, ambient_mmhg

EARTH_RADIUS = 6_356_766.0  # m, as the standard takes it
GEOPOTENTIAL = {
    0: 101325.0,
    500: 95460.839,
    1000: 89874.571,
    1500: 84556.005,
    2000: 79495.216,
    2500: 74682.534,
    3000: 70108.545,
}
GEOMETRIC = {
    0: 101325.0,
    500: 95461.289,
    1000: 89876.285,
    1500: 84559.677,
    2000: 79501.425,
    2500: 74691.756,
    3000: 70121.162,
}


@pytest.mark.parametrize(("metres", "pascals"), GEOPOTENTIAL.items())
def test_by_geopotential_elevation(metres, pascals) -> None:
    assert 1000 * ambient_kpa(metres) == pytest.approx(pascals, abs=0.05)


@pytest.mark.parametrize(("metres", "pascals"), GEOMETRIC.items())
def test_by_geometric_elevation(metres, pascals) -> None:
    geopotential = EARTH_RADIUS * metres / (EARTH_RADIUS + metres)
    assert 1000 * ambient_kpa(geopotential) == pytest.approx(pascals, abs=0.05)


@pytest.mark.parametrize(("metres", "printed"), [(500, 95461), (2500, 74691)])
def test_what_taking_one_elevation_for_the_other_costs(metres, printed) -> None:
    # Up to 3000 m less than 0.1 mmHg, far under what a gauge or the weather makes of it.
    assert abs(1000 * ambient_kpa(metres) - printed) < 13.0
    assert abs(ambient_mmhg(3000) - 525.952) < 0.1


def test_a_standard_atmosphere_is_760_mmhg() -> None:
    assert ambient_mmhg(0.0) == pytest.approx(760.0, abs=2e-4)


def test_pressures_that_bound_bands_are_those_of_the_elevations_that_do() -> None:
    printed = [GEOPOTENTIAL[int(metres)] / 1000 for metres in BOUNDS_M]
    assert list(BOUNDS_KPA) == pytest.approx(printed, abs=2e-4)
    assert [elevation_m(kpa) for kpa in BOUNDS_KPA] == pytest.approx(BOUNDS_M, abs=0.05)


def test_a_pump_loses_as_much_of_its_strongest_vacuum_as_the_bands_say() -> None:
    assert [round(100 * (1 - kpa / 101.325)) for kpa in BOUNDS_KPA] == [6, 17]

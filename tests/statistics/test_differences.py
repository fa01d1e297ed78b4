"""Cell means with units and clinics in common: exact cases, coverage, and what is too little to tell."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from registry.statistics.crossed import Readings
from registry.statistics.differences import Estimate, fit


def readings(rows, *, systematic=0.0, random=0.01, runs=3, repeat=0.01, fixed=None) -> Readings:
    """Rows of (cell, unit, group, mean)."""
    cell, unit, group, mean = zip(*rows, strict=True)
    size = len(rows)
    return Readings(
        cell=np.array(cell),
        unit=np.unique(unit, return_inverse=True)[1],
        group=np.array(group),
        mean=np.array(mean, float),
        runs=np.full(size, float(runs)),
        systematic=np.full(size, systematic),
        random=random,
        squares=size * (runs - 1) * repeat**2,
        freedom=size * (runs - 1),
        fixed=None if fixed is None else np.array(fixed),
    )


def both_at(groups, per_group, rng, *, unit=1.0, lean=0.0, shift=0.0):
    """Units of both cells at every group."""
    rows, number = [], 0
    for group in range(groups):
        leaning = rng.normal(0, lean)
        for cell in (0, 1):
            for _ in range(per_group):
                rows.append((cell, number, group, 100 + shift * cell + leaning + rng.normal(0, unit)))
                number += 1
    return rows


def test_balanced_blocks_give_the_analysis_of_variance_by_hand() -> None:
    """Two cells in blocks with several units each: the pooled variance within, exactly."""
    rng = np.random.default_rng(1)
    rows = both_at(4, 5, rng, lean=6.0, shift=2.0)
    found = fit(readings(rows, repeat=1e-9, random=1e-9))
    assert found is not None
    table = np.array(rows)
    cell, group, mean = table[:, 0].astype(int), table[:, 2].astype(int), table[:, 3]
    means = np.array([[mean[(cell == c) & (group == g)].mean() for g in range(4)] for c in (0, 1)])
    difference = float(np.mean(means[1] - means[0]))
    design = np.column_stack([np.eye(4)[group], cell])
    left = mean - design @ np.linalg.lstsq(design, mean, rcond=None)[0]
    variance = float(left @ left) / (40 - 5)
    estimate = found.estimate((-1, 1))
    assert estimate.value == pytest.approx(difference, rel=1e-6)
    assert found.between_units(0)[0] == pytest.approx(variance, rel=1e-6)
    assert estimate.error == pytest.approx((variance * 2 / 20) ** 0.5, rel=1e-4)
    assert estimate.freedom == pytest.approx(35, rel=1e-3)
    half = stats.t.ppf(0.975, 35) * estimate.error
    assert estimate.interval() == pytest.approx((difference - half, difference + half), rel=1e-3)


def test_what_a_gauge_leans_by_leaves_the_difference_and_not_the_means() -> None:
    rng = np.random.default_rng(2)
    plain = both_at(3, 4, rng, shift=1.0)
    leaning = [(c, u, g, y + (0, 50, -30)[g]) for c, u, g, y in plain]
    one, other = (fit(readings(rows, systematic=2.0)) for rows in (plain, leaning))
    assert one is not None
    assert other is not None
    assert other.estimate((-1, 1)).value == pytest.approx(one.estimate((-1, 1)).value, abs=0.02)
    assert other.estimate((-1, 1)).error == pytest.approx(one.estimate((-1, 1)).error, rel=0.05)
    assert other.estimate((0, 1)).error > 10
    assert one.estimate((0, 1)).error >= 2.0 / 3**0.5


def test_different_gauges_are_never_known_better_than_they_declare() -> None:
    rows = [(c, 10 * c + k, c, 100.0 + 0.1 * (k % 3)) for c in (0, 1) for k in range(6)]
    found = fit(readings(rows, systematic=3.0))
    assert found is not None
    assert found.estimate((-1, 1)).error >= 3.0 * 2**0.5


def test_a_unit_read_in_both_cells_is_its_own_control() -> None:
    rng = np.random.default_rng(3)
    own = rng.normal(0, 10, 6)
    rows = [(c, k, k % 2, 100 + own[k] + 4 * c + rng.normal(0, 0.01)) for c in (0, 1) for k in range(6)]
    found = fit(readings(rows))
    assert found is not None
    assert found.estimate((-1, 1)).value == pytest.approx(4, abs=0.05)
    assert found.estimate((-1, 1)).error < 0.1
    assert found.estimate((0, 1)).error > 2


def test_a_unit_asked_about_does_not_count_its_own_deviation() -> None:
    rng = np.random.default_rng(4)
    rows = [(0, k, k % 3, 100 + rng.normal(0, 5)) for k in range(12)] + [(1, 12, g, 90.0) for g in range(3)]
    counted, asked = fit(readings(rows)), fit(readings(rows, fixed=[12]))
    assert counted is not None
    assert asked is not None
    assert asked.estimate((-1, 1)).value == pytest.approx(counted.estimate((-1, 1)).value, abs=1.0)
    assert asked.estimate((-1, 1)).error < 0.6 * counted.estimate((-1, 1)).error


@pytest.mark.parametrize("rows", [[(0, 0, 0, 1.0), (1, 1, 0, 2.0)], [(0, 0, 0, 1.0), (1, 1, 1, 2.0)]])
def test_one_unit_of_each_tells_nothing_of_how_units_scatter(rows) -> None:
    assert fit(readings(rows)) is None


def test_wild_units_are_set_aside_and_named() -> None:
    rng = np.random.default_rng(5)
    rows = both_at(4, 5, rng)
    rows[7] = (*rows[7][:3], 160.0)
    found = fit(readings(rows))
    assert found is not None
    assert found.wild == (7,)
    assert abs(found.estimate((-1, 1)).value) < 1.5
    kept = fit(readings(rows, fixed=[7]))
    assert kept is not None
    assert kept.wild == ()


def test_the_next_unit_is_expected_where_units_and_clinics_scatter_to() -> None:
    rng = np.random.default_rng(6)
    rows = [
        (0, 30 * g + k, g, 100 + lean + rng.normal(0, 2))
        for g, lean in enumerate(rng.normal(0, 4, 40))
        for k in range(30)
    ]
    found = fit(readings(rows))
    assert found is not None
    ahead = found.ahead(0)
    assert ahead.value == pytest.approx(100, abs=2)
    assert ahead.error == pytest.approx((4**2 + 2**2) ** 0.5, rel=0.2)


def test_a_group_that_read_one_cell_still_counts() -> None:
    rng = np.random.default_rng(7)
    rows = both_at(3, 3, rng)
    more = [*rows, *((0, 100 + k, 3, 100 + rng.normal(0, 1)) for k in range(6))]
    few, many = fit(readings(rows)), fit(readings(more))
    assert few is not None
    assert many is not None
    assert many.estimate((1, 0)).error < few.estimate((1, 0)).error


def test_estimates_give_their_p_values() -> None:
    one = Estimate(2.0, 1.0, 10.0)
    assert one.p_apart() == pytest.approx(2 * stats.t.sf(2, 10))
    assert one.p_above(0.0) == pytest.approx(stats.t.sf(2, 10))
    assert one.p_below(3.0) == pytest.approx(stats.t.sf(1, 10))
    certain = Estimate(2.0, 0.0, 10.0)
    assert (certain.p_above(1.0), certain.p_above(2.0), certain.p_apart(2.0)) == (0.0, 1.0, 1.0)


def test_intervals_hold_at_the_nominal_rate_however_uneven() -> None:
    rng = np.random.default_rng(8)
    held = []
    for _ in range(400):
        rows, number = [], 0
        for group in range(int(rng.integers(3, 8))):
            lean = rng.normal(0, 3)
            for cell in (0, 1) if rng.random() < 0.6 else (int(rng.integers(2)),):
                for _ in range(int(rng.integers(1, 6))):
                    rows.append((cell, number, group, 100 + 5 * cell + lean + rng.normal(0, 4)))
                    number += 1
        if {row[0] for row in rows} == {0, 1}:
            found = fit(readings(rows, systematic=3.0, random=0.3, repeat=0.5))
            if found is not None:
                low, high = found.estimate((-1, 1)).interval()
                held.append(low <= 5 <= high)
    assert len(held) > 380
    assert 0.92 <= np.mean(held) <= 0.985


def test_rows_in_any_order_give_the_same() -> None:
    rng = np.random.default_rng(9)
    rows = both_at(3, 3, rng)
    made = readings(rows)
    order = rng.permutation(len(rows))
    turned = replace(
        made,
        **{
            name: getattr(made, name)[order]
            for name in ("cell", "unit", "group", "mean", "runs", "systematic")
        },
    )
    one, other = fit(made), fit(turned)
    assert one is not None
    assert other is not None
    assert other.estimate((-1, 1)).value == pytest.approx(one.estimate((-1, 1)).value)
    assert other.estimate((-1, 1)).error == pytest.approx(one.estimate((-1, 1)).error)

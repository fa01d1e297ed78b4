"""Units that are their own control: how far, against the paired t test, and builds that scatter unlike."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from registry.statistics.differences import fit
from registry.statistics.henderson import own_spread
from registry.statistics.swap import split
from registry.statistics.tables import abreast
from tests.statistics.test_differences import both_at, readings


def paired(rng, units, *, own=1.0, shift=4.0, unit=6.0, groups=2):
    """Units read once in either cell, each changing by something of its own."""
    rows = []
    for k in range(units):
        level = 100 + rng.normal(0, unit) + 3 * (k % groups)
        rows += [(cell, k, k % groups, level + shift * cell + rng.normal(0, own)) for cell in (0, 1)]
    return rows


@pytest.mark.parametrize("units", [3, 5, 12])
def test_one_run_with_either_is_the_paired_t_test(units: int) -> None:
    rows = paired(np.random.default_rng(units), units)
    made = replace(readings(rows, runs=1, random=0.0), squares=0.0, freedom=0)
    found = fit(made)
    assert found is not None
    values = made.mean.reshape(units, 2)
    by_hand = stats.ttest_rel(values[:, 1], values[:, 0])
    estimate = found.estimate((-1, 1))
    assert estimate.value == pytest.approx(float(np.mean(values[:, 1] - values[:, 0])))
    assert estimate.freedom == pytest.approx(units - 1)
    assert estimate.p_apart() == pytest.approx(by_hand.pvalue, rel=1e-6)
    assert estimate.interval() == pytest.approx(tuple(by_hand.confidence_interval()), rel=1e-6)


def test_repeats_do_not_make_a_unit_stand_for_all_units() -> None:
    """Runs repeat to a hundredth while units change by 4, each by its own."""
    found = fit(readings(paired(np.random.default_rng(2), 8, own=4.0)))
    assert found is not None
    assert found.estimate((-1, 1)).error == pytest.approx(4 * (2 / 8) ** 0.5, rel=0.5)
    assert found.spread.own == pytest.approx(16, rel=0.7)


def test_one_unit_with_both_among_others_is_not_taken_for_all() -> None:
    rng = np.random.default_rng(2)
    rows = [(0, 0, 0, 100.0), (1, 0, 0, 104.0)]
    rows += [
        (cell, 10 * cell + k, 0, 100 + 4 * cell + rng.normal(0, 5)) for cell in (0, 1) for k in (1, 2, 3)
    ]
    made = readings(rows)
    ((_, tables),) = abreast([made])
    assert own_spread(tables) is None
    found = fit(made)
    assert found is not None
    assert found.estimate((-1, 1)).error > 1.5
    asked = fit(readings(rows, fixed=[0]))
    assert asked is not None
    assert asked.estimate((-1, 1)).error < found.estimate((-1, 1)).error


def test_intervals_of_paired_units_hold_the_truth() -> None:
    for units, own in ((3, 1.0), (6, 3.0)):
        rng = np.random.default_rng(units)
        held = []
        for _ in range(300):
            rows = paired(rng, units, own=own)
            rows = [(c, u, g, y + rng.normal(0, 0.5)) for c, u, g, y in rows]
            found = fit(readings(rows, repeat=0.5 * 3**0.5, random=0.1))
            assert found is not None
            low, high = found.estimate((-1, 1)).interval()
            held.append(low <= 4 <= high)
        assert 0.92 <= np.mean(held) <= 0.98, units


def test_shares_of_a_swap_allow_for_what_parts_do_to_each_unit() -> None:
    rng = np.random.default_rng(4)
    truth, held = {"part": -9.5, "interaction": -3.0}, {"part": [], "interaction": []}
    for _ in range(300):
        rows = []
        for base in (0, 1):
            for k in range(5):
                level = rng.normal(0, 4) + (0.0, 3.0, -4.0)[k % 3]
                for part in (0, 1):
                    cell = 2 * base + part
                    value = (100.0, 92.0, 95.0, 84.0)[cell] + level + rng.normal(0, 2)
                    rows.append((cell, 5 * base + k, k % 3, value))
        fitted = fit(readings(rows))
        assert fitted is not None
        found = split(fitted)
        for name, value in truth.items():
            held[name].append(getattr(found, name).low <= value <= getattr(found, name).high)
    assert all(0.92 <= np.mean(holds) <= 0.98 for holds in held.values())


def test_kin_are_units_of_the_same_cells() -> None:
    assert readings([(0, 0, 0, 1.0), (1, 1, 0, 1.0), (1, 2, 0, 1.0)]).design.kin.tolist() == [0, 1, 1]
    chain = [(0, 0, 0, 1.0), (1, 0, 0, 1.0), (1, 1, 0, 1.0), (2, 1, 0, 1.0), (3, 2, 0, 1.0)]
    assert readings(chain).design.kin.tolist() == [0, 0, 1]


def test_builds_that_clearly_scatter_unlike_have_a_spread_each() -> None:
    """Then it is Welch's test."""
    rng = np.random.default_rng(5)
    old, new = 100 + rng.normal(0, 1, 15), 104 + rng.normal(0, 9, 6)
    rows = [(0, k, 0, y) for k, y in enumerate(old)] + [(1, 20 + k, 0, y) for k, y in enumerate(new)]
    found = fit(readings(rows, repeat=1e-9, random=1e-9))
    assert found is not None
    assert found.spread.unlike
    by_hand = stats.ttest_ind(new, old, equal_var=False)
    assert found.estimate((-1, 1)).p_apart() == pytest.approx(by_hand.pvalue, rel=1e-3)
    assert found.between_units(1)[0] > 20 * found.between_units(0)[0]


def test_builds_alike_are_seldom_taken_for_unlike() -> None:
    rng = np.random.default_rng(6)
    unlike = [
        found.spread.unlike for _ in range(300) if (found := fit(readings(both_at(3, 4, rng)))) is not None
    ]
    assert len(unlike) == 300
    assert 0.01 <= np.mean(unlike) <= 0.09


def test_intervals_hold_where_the_new_build_scatters_thrice() -> None:
    rng = np.random.default_rng(7)
    held = []
    for _ in range(300):
        rows = [(0, k, k % 3, 100 + rng.normal(0, 2)) for k in range(12)]
        rows += [(1, 12 + k, k % 3, 104 + rng.normal(0, 6)) for k in range(9)]
        lean = rng.normal(0, 3, 3)
        found = fit(readings([(c, u, g, y + lean[g]) for c, u, g, y in rows], systematic=3.0))
        assert found is not None
        low, high = found.estimate((-1, 1)).interval()
        held.append(low <= 4 <= high)
    assert np.mean(held) >= 0.91


@pytest.mark.parametrize("groups", [2, 3, 6])
def test_one_unit_of_each_at_every_clinic_cannot_tell_whose_scatter_it_is(groups: int) -> None:
    for seed in range(40):
        made = readings(both_at(groups, 1, np.random.default_rng(seed), lean=3.0), repeat=2.0, systematic=3.0)
        found = fit(made)
        assert found is not None
        assert not found.spread.unlike
        assert found.estimate((-1, 1)).error > 0

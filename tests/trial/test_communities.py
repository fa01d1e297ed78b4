"""The simulated communities are what they are said to be."""

import numpy as np
import pytest

from tests.trial.communities import RATE, VACUUM, Shape, Spreads, fixed_plan, nested_plan, read, swap_plan


def test_spreads_come_out_as_told() -> None:
    rng = np.random.default_rng(1)
    found = read(rng, fixed_plan(400, 8, 4), rate=np.array([[70.0]]), vacuum=np.array([[240.0]])).frame
    for metric, between, repeat, gauge in ((RATE, 1.4, 0.49, 0.007), (VACUUM, 5.0, 2.0, 4.12)):
        rows = found[found["metric"] == metric]
        means = rows.groupby("clinic")["mean"]
        inside = between**2 + repeat**2 / 4
        assert means.var().mean() == pytest.approx(inside, rel=0.1)
        assert means.mean().var() == pytest.approx(gauge**2 + inside / 8, rel=0.25)
        assert rows["squares"].sum() / rows["freedom"].sum() == pytest.approx(repeat**2, rel=0.1)
        assert rows["systematic"].iloc[0] == pytest.approx(gauge, rel=0.01)


def test_one_unit_in_twenty_is_wild_in_rate_and_vacuum() -> None:
    rng = np.random.default_rng(2)
    found = read(
        rng,
        fixed_plan(100, 8, 2),
        rate=np.array([[70.0]]),
        vacuum=np.array([[240.0]]),
        spreads=Spreads(wild=0.05),
    )
    assert len(found.wild) == pytest.approx(40, abs=20)
    rows = found.frame[found.frame["unit"].isin(found.wild)]
    assert (np.abs(rows.loc[rows["metric"] == RATE, "mean"] - 70) > 2.0).all()


def test_plans_are_uneven_and_every_cell_is_run() -> None:
    rng = np.random.default_rng(3)
    for _ in range(200):
        plan = nested_plan(rng, Shape(both=0.3), cells=2)
        assert 1 <= plan.clinic.max() + 1 <= 12
        assert set(plan.cell) == {0, 1}
        assert plan.runs.min() >= 1
        assert plan.runs.max() <= 6
        per_clinic = np.unique(np.stack([plan.cell, plan.clinic]), axis=1, return_counts=True)[1]
        assert per_clinic.max() <= 8


def test_travelling_units_go_round_all_clinics() -> None:
    plan = nested_plan(np.random.default_rng(4), Shape(clinics=(5, 5), both=1.0, travelling=2))
    assert (np.bincount(plan.unit) == 5).sum() == 2


def test_swapped_units_are_run_with_both_parts() -> None:
    plan = swap_plan(np.random.default_rng(5), Shape())
    for unit in range(plan.unit.max() + 1):
        assert set(plan.cell[plan.unit == unit]) in ({0, 1}, {2, 3})


def test_what_one_unit_reads_leans_alike_at_all_settings() -> None:
    rng = np.random.default_rng(6)
    found = read(rng, fixed_plan(50, 8, 6), rate=np.array([[60.0, 70.0]]), vacuum=np.array([[200.0, 240.0]]))
    rates = found.frame[found.frame["metric"] == RATE].pivot_table(
        index="unit", columns="setting", values="mean"
    )
    assert rates.corr().iloc[0, 1] == pytest.approx(0.7, abs=0.1)

"""A gauge that took a step is parted there; a build's step, too few units or no dates part nothing."""

import numpy as np
import pandas as pd
import pytest

from registry.statistics.epochs import parted

CLINICS, UNITS = 6, 16


def pairs(rng: np.random.Generator, *, gauge: float = 0.0, build: float = 0.0) -> pd.DataFrame:
    """One build at six clinics of a gauge each, a unit a day; from day 8 gauge 0, or all, read otherwise."""
    rows = [
        (
            100 * clinic + day, clinic, clinic, 0, 0.015, float(day),
            rng.normal(0, 0.02) + (day >= 8) * (build + (clinic == 0) * gauge),
        )
        for clinic in range(CLINICS)
        for day in range(UNITS)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["unit", "gauge", "clinic", "build", "systematic", "at", "apart"])


@pytest.mark.parametrize("by", [0.08, -0.08])
def test_a_step_of_one_gauge_is_dated_and_what_came_before_is_another_gauge_s(by: float) -> None:
    found = parted(pairs(np.random.default_rng(51), gauge=by))
    assert set(found.steps) == {0}
    step = found.steps[0]
    assert step.at == pytest.approx(8.0, abs=1.0)
    assert step.size == pytest.approx(by, abs=0.03)
    assert step.chance < 1e-4
    assert step.agreeing > 0.8
    assert step.halves_agree
    before = found.pairs[found.pairs["at"] < step.at]
    assert set(before["gauge"]) == {-1, *range(1, CLINICS)}
    assert set(found.pairs[found.pairs["clinic"] == 0]["gauge"]) == {-1, 0}


def test_a_step_that_all_clinics_saw_is_the_build_s() -> None:
    rng = np.random.default_rng(52)
    assert [parted(pairs(rng, build=0.1)).steps for _ in range(10)] == [{}] * 10


def test_nothing_is_parted_by_chance_at_any_of_many_looks() -> None:
    rng = np.random.default_rng(53)
    told = 0
    for _ in range(40):
        table = pairs(rng)
        told += any(0 in parted(table[table["at"] < day]).steps for day in range(8, UNITS + 1))
    assert told / 40 <= 0.05


def test_a_step_nobody_else_read_on_after_parts_nothing() -> None:
    table = pairs(np.random.default_rng(54), gauge=0.1)
    alone = table[(table["gauge"] == 0) | (table["at"] < 8)]
    assert 0 not in parted(alone).steps


def test_two_units_after_a_step_are_too_few_and_without_dates_nothing_is_parted() -> None:
    table = pairs(np.random.default_rng(55), gauge=0.1)
    assert parted(table[table["at"] < 10]).steps == {}
    assert parted(table.drop(columns="at")).steps == {}


@pytest.mark.parametrize("since", [(-0.25, 0.0, -0.16), (0.13, 0.4, 0.01), (0.12, 0.0, 0.02)])
def test_wild_units_are_no_step_of_their_gauge(since: tuple[float, ...]) -> None:
    told = 0
    for seed in range(20):
        table = pairs(np.random.default_rng(560 + seed))
        late = (table["gauge"] == 0) & (table["at"] >= UNITS - len(since))
        table.loc[late, "apart"] += list(since)
        told += 0 in parted(table).steps
    assert told <= 1


def test_a_step_is_told_past_wild_units_before_and_after_it() -> None:
    told = 0
    for seed in range(20):
        table = pairs(np.random.default_rng(580 + seed), gauge=0.1)
        for day, wild in ((3, -0.3), (10, 0.5), (14, -0.2)):
            table.loc[(table["gauge"] == 0) & (table["at"] == day), "apart"] += wild
        told += 0 in parted(table).steps
    assert told >= 19

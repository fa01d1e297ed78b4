"""Offsets of benches: right, as sure as stated, and sharp where units travel."""

import numpy as np
import pandas as pd
import pytest

from registry.statistics.benches import Benches, bench_offsets, set_up
from registry.statistics.pairs import pair_table
from registry.statistics.shifts import SET_UP
from registry.statistics.taming import shared
from tests.statistics.communities import Readers


def measured(community: Readers, seed: int, by: str = "clinic") -> Benches:
    return bench_offsets(pair_table(community.readings(np.random.default_rng(seed))), by)


def test_a_gauge_that_reads_high_is_found_with_its_size() -> None:
    found = {one.bench: one for one in measured(Readers(gains={2: 1.08}, round_robin=2), 1).offsets}
    assert found[2].offset == pytest.approx(0.08, abs=0.02)
    assert found[2].low > 0.05
    assert found[2].is_carried
    assert max(abs(found[k].offset) for k in found if k != 2) < 0.035


def test_intervals_hold_the_true_offsets() -> None:
    """Gauges scatter by 1.5 % and declare it; two units of each build go round."""
    community = Readers(clinics=7, builds=3, between_gauges=0.015, declared=0.015, round_robin=2)
    held = total = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        truth = np.expm1(np.random.default_rng(seed).normal(0, 0.015, 7))
        for one in bench_offsets(pair_table(community.readings(rng))).offsets:
            held += one.low <= truth[one.bench] <= one.high
            total += 1
    assert 0.92 <= held / total <= 0.99


@pytest.mark.parametrize(("scatter", "told"), [(0.0, 0.0045), (0.01, 0.01), (0.03, 0.0275)])
def test_what_setting_up_differs_by_is_seen_where_units_travel(scatter: float, told: float) -> None:
    """It is drawn a little towards the usual one, 1 %."""
    rng = np.random.default_rng(8)
    pairs = shared(pair_table(Readers(clinics=8, builds=3, round_robin=3).readings(rng)))
    values = pairs["apart"].to_numpy() + rng.normal(0, scatter, len(pairs))
    code = np.unique(pairs["clinic"], return_inverse=True)[1]
    assert set_up(pairs, values, code) == pytest.approx(told, rel=0.25)


def test_where_no_unit_travels_the_usual_scatter_of_set_ups_stands() -> None:
    pairs = shared(pair_table(Readers().readings(np.random.default_rng(9))))
    code = np.unique(pairs["clinic"], return_inverse=True)[1]
    assert set_up(pairs, pairs["apart"].to_numpy(), code) == SET_UP


def test_units_that_travel_make_offsets_sharp() -> None:
    apart = measured(Readers(declared=0.002, between_gauges=0.002), 3).offsets
    tied = measured(Readers(declared=0.002, between_gauges=0.002, round_robin=3), 3).offsets
    assert np.mean([one.u for one in tied]) < 0.7 * np.mean([one.u for one in apart])


def test_the_scatter_between_benches_is_that_of_the_community() -> None:
    community = Readers(
        clinics=12, builds=4, units=24, between_gauges=0.02, declared=0.01, round_robin=6, between_units=0.01
    )
    scatters = [measured(community, seed).scatter for seed in range(12)]
    assert np.mean(scatters) == pytest.approx(0.02, rel=0.2)


def test_a_wild_unit_makes_no_bench_look_off() -> None:
    found = measured(Readers(odd={4: 1.5}), 5).offsets
    assert max(abs(one.offset) for one in found) < 0.05


def test_what_one_clinic_alone_read_tells_nothing() -> None:
    readings = Readers().readings(np.random.default_rng(6))
    alone = readings[readings["clinic"] == 0]
    assert bench_offsets(pair_table(alone)).offsets == ()


def test_a_bench_that_nothing_ties_to_others_is_not_told() -> None:
    """Gauges 0 and 1 read one build, gauges 2 and 3 another: each is told against one other only."""
    readings = Readers(clinics=4, builds=2).readings(np.random.default_rng(7))
    first = readings[(readings["build"] == 0) & (readings["gauge"] < 2)]
    second = readings[(readings["build"] == 1) & (readings["gauge"] >= 2)]
    found = bench_offsets(pair_table(pd.concat([first, second]))).offsets
    assert [one.others for one in found] == [1, 1, 1, 1]
    assert not any(one.is_carried for one in found)


def test_gauges_of_one_clinic_are_told_apart() -> None:
    readings = Readers(clinics=6, gains={5: 1.06}, round_robin=3).readings(np.random.default_rng(8))
    readings.loc[readings["clinic"] == 5, "clinic"] = 4
    gauges = {one.bench: one for one in bench_offsets(pair_table(readings), "gauge").offsets}
    assert gauges[5].offset - gauges[4].offset == pytest.approx(0.06, abs=0.02)
    assert len(bench_offsets(pair_table(readings), "clinic").offsets) == 5

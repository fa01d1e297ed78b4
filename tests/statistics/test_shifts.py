"""Gauges that are off are found, those that are not are left alone, and one wrong gauge blames no other."""

import numpy as np
import pandas as pd
import pytest

from registry.statistics.pairs import pair_table
from registry.statistics.shifts import Shift, examine
from tests.statistics.communities import Readers

TRIALS = 50


def gauge_shifts(pairs: pd.DataFrame, watched: int = 0) -> list[Shift]:
    found = examine(pairs, watched=watched)
    return found.gauges() if found else []


def judged(readers: Readers, rng: np.random.Generator) -> list[Shift]:
    return gauge_shifts(pair_table(readers.readings(rng)))


def off(readers: Readers, rng: np.random.Generator) -> set[int]:
    return {shift.who for shift in judged(readers, rng) if shift.is_off()}


@pytest.mark.parametrize(
    "readers",
    [
        Readers(),
        Readers(clinics=3),
        Readers(between_units=0.06),
        Readers(between_gauges=0.012),
        Readers(clinics=4, builds=1, units=16),
        Readers(round_robin=2),
    ],
)
def test_sound_communities_are_left_alone(readers: Readers) -> None:
    rng = np.random.default_rng(21)
    assert sum(bool(off(readers, rng)) for _ in range(TRIALS)) / TRIALS <= 0.04


@pytest.mark.parametrize(
    ("readers", "least"),
    [
        (Readers(gains={2: 1.08}), 0.8),
        (Readers(gains={2: 0.92}, between_units=0.02), 0.95),
        (Readers(gains={2: 1.08}, clinics=3), 0.95),
        (Readers(gains={2: 1.08}, round_robin=2), 0.95),
    ],
)
def test_eight_per_cent_is_found_and_blamed_on_nobody_else(readers: Readers, least: float) -> None:
    # What is found in many more lies two standard errors above the bounds at least: 0.86 for the first.
    rng, trials = np.random.default_rng(22), 3 * TRIALS
    found = [off(readers, rng) for _ in range(trials)]
    assert sum(2 in gauges for gauges in found) / trials >= least
    assert sum(bool(gauges - {2}) for gauges in found) / trials <= 0.04


def test_two_wrong_gauges_are_both_found() -> None:
    rng = np.random.default_rng(23)
    readers = Readers(gains={1: 1.12, 4: 0.88}, between_units=0.02)
    assert all(off(readers, rng) == {1, 4} for _ in range(10))


def test_the_interval_holds_the_true_shift() -> None:
    rng = np.random.default_rng(24)
    readers = Readers(gains={2: 1.06})
    holds = 0
    for _ in range(TRIALS):
        shift = next(s for s in judged(readers, rng) if s.who == 2)
        holds += shift.low <= 0.06 <= shift.high
    assert holds / TRIALS >= 0.9


def test_a_wild_unit_does_not_blame_its_gauge() -> None:
    rng = np.random.default_rng(25)
    assert all(off(Readers(odd={8: 0.5}), rng) == set() for _ in range(12))


@pytest.mark.parametrize("round_robin", [0, 1])
def test_two_wild_units_of_six_do_not_blame_a_gauge_that_read_them(round_robin: int) -> None:
    # Units 0 and 9 are read first by gauges 0 and 3, units 6 and 12 by gauge 0; those sent round by all.
    odd = {0: 1.4, 9: 1.5} if round_robin else {6: 1.4, 12: 1.5}
    readers = Readers(odd=odd, round_robin=round_robin)
    found = [off(readers, np.random.default_rng(250 + seed)) for seed in range(20)]
    assert sum(bool(gauges) for gauges in found) <= 1


def test_units_sent_round_show_a_gauge_by_what_others_read_of_them() -> None:
    rng = np.random.default_rng(26)
    readers = Readers(gains={2: 1.08}, between_units=0.1, round_robin=2)
    found = [next(shift for shift in judged(readers, rng) if shift.who == 2) for _ in range(10)]
    assert all(shift.p < 1e-6 for shift in found)


def test_less_than_matters_is_not_raised_however_sure() -> None:
    rng = np.random.default_rng(26)
    readers = Readers(gains={2: 1.025}, between_units=0.005, between_gauges=0.001)
    found = judged(readers, rng)
    assert not any(shift.is_off() for shift in found)
    assert next(s for s in found if s.who == 2).is_clear()


def test_watching_more_gauges_asks_for_more() -> None:
    pairs = pair_table(Readers(gains={2: 1.045}).readings(np.random.default_rng(27)))
    few, many = gauge_shifts(pairs), gauge_shifts(pairs, watched=12)
    assert [b.tests for b in many] == [2 * a.tests for a in few]
    assert [b.p for b in many] == [a.p for a in few]
    assert all(a.is_off() or not b.is_off() for a, b in zip(few, many, strict=True))


def test_floors() -> None:
    rng = np.random.default_rng(28)
    two_clinics = judged(Readers(clinics=2, gains={1: 1.2}), rng)
    assert not any(shift.is_carried() for shift in two_clinics)
    assert not any(shift.is_off() for shift in two_clinics)
    few_units = judged(Readers(builds=1, units=8, clinics=4, gains={1: 1.2}), rng)
    assert all(shift.units == 2 and not shift.is_off() for shift in few_units)


def test_builds_a_single_clinic_read_tell_nothing() -> None:
    readings = Readers(builds=1).readings(np.random.default_rng(29))
    lone = readings[readings["clinic"] == 0]
    assert gauge_shifts(pair_table(lone)) == []

"""Units outside their build are found; gauges and mixed builds explain what they explain."""

import numpy as np
import pytest

from registry.statistics.deviants import UNIT_LIMITS, Deviant, deviants
from registry.statistics.pairs import pair_table
from tests.statistics.communities import Readers

TRIALS = 40


def judged(readers: Readers, rng: np.random.Generator, **leaning: float) -> list[Deviant]:
    gauges = {int(name[1:]): shift for name, shift in leaning.items()}
    pairs = pair_table(readers.readings(rng))
    known = np.log1p(pairs["gauge"].map(gauges).fillna(0.0).to_numpy(float))
    return deviants(pairs, known, tests=3 * readers.builds * readers.units)


def is_outside(deviant: Deviant) -> bool:
    """More than matters, and more than chance does among all that are looked at (Bonferroni)."""
    return deviant.is_material() and deviant.p * deviant.tests < UNIT_LIMITS.alarm


def outside(found: list[Deviant]) -> set[int]:
    return {deviant.unit for deviant in found if is_outside(deviant)}


@pytest.mark.parametrize("readers", [Readers(), Readers(between_units=0.05), Readers(builds=1, units=16)])
def test_sound_builds_are_left_alone(readers: Readers) -> None:
    rng = np.random.default_rng(31)
    assert sum(bool(outside(judged(readers, rng))) for _ in range(TRIALS)) / TRIALS <= 0.05


def test_a_unit_too_weak_by_28_per_cent_is_found_and_alone() -> None:
    rng = np.random.default_rng(32)
    found = [outside(judged(Readers(odd={5: 0.72}), rng)) for _ in range(TRIALS)]
    assert sum(5 in units for units in found) / TRIALS >= 0.9
    assert sum(bool(units - {5}) for units in found) / TRIALS <= 0.05


def test_what_the_gauge_does_is_taken_out() -> None:
    rng = np.random.default_rng(33)
    readers = Readers(gains={2: 1.25})
    assert outside(judged(readers, rng, g2=0.25)) == set()


def test_what_a_gauge_reads_others_off_by_is_none_of_a_unit_s() -> None:
    """Nobody suspects the gauge yet; unit 8 is one of those it read."""
    rng = np.random.default_rng(38)
    leans = judged(Readers(gains={2: 1.05}, odd={8: 1.08}, between_units=0.01), rng)
    stands = judged(Readers(odd={8: 1.08 * 1.05}, between_units=0.01), rng)
    (first,), (second,) = ([d for d in found if d.unit == 8] for found in (leans, stands))
    assert first.explained == pytest.approx(0.05, abs=0.02)
    assert not first.is_material()
    assert is_outside(second)


def test_a_gauge_nobody_vouches_for_clears_no_unit() -> None:
    """The gauge read this unit alone, so that either may be off."""
    readings = Readers(odd={5: 0.7}).readings(np.random.default_rng(34))
    readings.loc[readings["unit"] == 5, ["gauge", "clinic"]] = 99
    found = {d.unit: d for d in deviants(pair_table(readings))}
    assert not found[5].gauge_cleared
    assert not is_outside(found[5])


def test_a_unit_two_clinics_saw_alike_needs_no_vouching() -> None:
    readings = Readers(odd={5: 0.7}).readings(np.random.default_rng(35))
    mine = readings["unit"] == 5
    again = readings[mine].assign(gauge=98, clinic=98)
    readings.loc[mine, ["gauge", "clinic"]] = 99
    both = {
        d.unit: d
        for d in deviants(
            pair_table(type(readings)({name: [*readings[name], *again[name]] for name in readings.columns}))
        )
    }
    assert both[5].gauges == 2
    assert both[5].gauge_cleared
    assert is_outside(both[5])


def test_a_build_of_two_kinds_is_in_doubt_and_names_no_unit() -> None:
    found = judged(Readers(odd={0: 0.7, 1: 0.7, 2: 0.7}), np.random.default_rng(36))
    assert all(d.build_in_doubt for d in found if d.build == 0)
    assert outside(found) == set()


def test_floors_and_lone_units() -> None:
    rng = np.random.default_rng(37)
    assert outside(judged(Readers(units=4, odd={2: 0.5}), rng)) == set()
    assert judged(Readers(builds=1, units=1), rng) == []
    assert outside(judged(Readers(builds=1, units=2, odd={0: 0.5}), rng)) == set()

"""A step along an order: found where it is, within benches, and never on the word of one clinic."""

import numpy as np
import pytest

from registry.statistics.unlisted.along import Outcome, split_along
from tests.statistics.unlisted.benched import channel, quiet

CLINIC = np.arange(24) % 4


def stepped(
    size: float, before: int = 12, seed: int = 1, clinic: np.ndarray = CLINIC, only: int | None = None
):
    value = quiet(np.random.default_rng(seed), clinic)
    value[before:] += size * ((clinic[before:] == only) if only is not None else 1.0)
    return value


@pytest.mark.parametrize("before", [5, 12, 19])
def test_a_step_is_found_where_it_is_with_its_size(before) -> None:
    look = split_along([channel(stepped(-0.1, before), CLINIC)])
    assert look.outcome is Outcome.FOUND
    split = look.splits[0]
    assert abs(split.before - before) <= 1
    assert split.place.low <= split.before <= split.place.high
    change = split.changes["cycle_rate"]
    assert change.low < change.size < change.high < 0
    assert change.size == pytest.approx(-0.1, abs=0.025)
    assert split.clinics == (0, 1, 2, 3)


def test_one_build_is_left_alone() -> None:
    outcomes = [split_along([channel(stepped(0.0, seed=seed), CLINIC)]).outcome for seed in range(60)]
    assert outcomes.count(Outcome.NOTHING) >= 58


def test_what_one_clinic_sees_is_that_clinics() -> None:
    clinic = np.arange(24) % 2
    look = split_along([channel(stepped(-0.12, clinic=clinic, only=1), clinic)])
    assert (look.outcome, look.p) == (Outcome.ONE_CLINIC, 1.0)
    assert 1 in look.carriers
    for seed in range(20):
        other = split_along([channel(stepped(-0.3, only=2, seed=seed), CLINIC)])
        assert other.outcome is not Outcome.FOUND


def test_a_step_that_follows_the_bench_is_hidden() -> None:
    clinic = np.repeat([0, 1], 12)
    assert split_along([channel(stepped(-0.2, clinic=clinic), clinic)]).outcome is Outcome.HIDDEN


def test_too_few_units() -> None:
    look = split_along([channel(stepped(-0.2)[:7], CLINIC[:7])])
    assert (look.outcome, look.p) == (Outcome.FEW, None)


def test_wild_units_make_no_step_and_hide_none() -> None:
    wild = stepped(0.0, seed=3)
    wild[[20, 22]] -= 0.4
    assert split_along([channel(wild, CLINIC)]).outcome is Outcome.NOTHING
    found = stepped(-0.1, seed=3)
    found[[2, 20]] += 0.4
    assert split_along([channel(found, CLINIC)]).outcome is Outcome.FOUND


def test_a_split_keeps_to_where_one_may_lie() -> None:
    cuts = np.ones(23, bool)
    cuts[8:14] = False
    look = split_along([channel(stepped(-0.15), CLINIC)], cuts=cuts)
    assert look.outcome is Outcome.FOUND
    assert cuts[look.splits[0].before - 1]


def test_what_changes_little_by_little_is_no_step() -> None:
    value = quiet(np.random.default_rng(4), np.arange(60) % 4) + np.linspace(0, -0.3, 60)
    assert split_along([channel(value, np.arange(60) % 4)]).outcome is Outcome.GRADUAL


def test_further_steps_are_told_after_the_strongest() -> None:
    clinic = np.arange(60) % 4
    value = quiet(np.random.default_rng(5), clinic)
    value[20:] -= 0.2
    value[40:] += 0.35
    look = split_along([channel(value, clinic)])
    assert sorted(split.before for split in look.splits) == [20, 40]


def test_a_step_in_one_of_many_channels_counts_for_less() -> None:
    value = stepped(-0.06, seed=8)
    others = [channel(stepped(0.0, seed=seed), CLINIC, "peak_vacuum") for seed in range(20, 24)]
    alone = split_along([channel(value, CLINIC)])
    among = split_along([channel(value, CLINIC), *others])
    assert alone.p is not None
    assert among.p is not None
    assert among.p > 2 * alone.p

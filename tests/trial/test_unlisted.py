"""The trial of unlisted revisions, in short."""

import numpy as np
import pytest

from tests.trial.many import many
from tests.trial.unlisted import CHANGE, METHODS, NO_CHANGE, replayed, told
from tests.trial.unlisted_communities import MEAN, PEAK, RATE, Trouble, Truth, community, crowd, two_sides
from tests.trial.unlisted_other import CASES
from tests.trial.unlisted_other import told as told_other
from tests.trial.unlisted_peers import pelt, three_sigma


@pytest.mark.parametrize("kind", ["sound", "recalibrated, wild, sticky", "a gauge goes 8 % off"])
def test_hardly_any_change_is_told_where_there_is_none(kind) -> None:
    found = many(told, NO_CHANGE[kind], 12, seed=5)
    assert sum(places["ours"] is not None for _, _, places in found) <= 2


def test_a_rate_down_by_a_tenth_is_found_in_its_place() -> None:
    found = many(told, CHANGE["rate down 10 %, 6 a side, 3 clinics"], 10, seed=6)
    near = [places["ours"] is not None and abs(places["ours"] - at) <= 2 for _, at, places in found]
    assert sum(near) >= 8
    assert set(found[0][2]) == set(METHODS)


def test_a_change_is_found_soon_after_it() -> None:
    delays = [replayed(CHANGE["rate down 10 %, 6 a side, 3 clinics"], seed)[1] for seed in range(3)]
    assert set(delays[0]) == set(METHODS)
    assert sum(each["ours"] is not None and each["ours"] <= 6 for each in delays) >= 2


def test_communities_are_what_they_are_said_to_be() -> None:
    rng = np.random.default_rng(1)
    clinic = crowd(rng)
    made = community(rng, clinic, Trouble(), Truth(before=clinic.size // 2, rate=0.5))
    assert 3 <= clinic.max() + 1 <= 12
    assert set(made.table["metric"]) == {RATE, PEAK, MEAN}
    rate = made.table[made.table["metric"] == RATE].groupby(["cell", "unit"])["mean"].mean()
    early = rate[rate.index.get_level_values("unit") < clinic.size // 2].groupby("cell").median()
    late = rate[rate.index.get_level_values("unit") >= clinic.size // 2].groupby("cell").median()
    assert (late / early).median() == pytest.approx(0.5, abs=0.05)
    assert made.first(3)["unit"].max() == 2
    assert sorted(two_sides(rng)[:6]) == sorted(two_sides(rng)[6:]) == [0, 0, 1, 1, 2, 2]


def test_peers_find_a_plain_step() -> None:
    quiet = Trouble(wild=0.0, recalibrated=0.0, sticky=0.0, sticky_clinic=0.0)
    step = Truth(before=12, rate=0.6)
    made = [
        community(np.random.default_rng(seed), np.arange(24) % 4, quiet, step).table for seed in range(10)
    ]
    assert sum(pelt(table) == 12 for table in made) >= 8
    places = [three_sigma(table) for table in made]
    # Three standard deviations of six units are soon exceeded by a seventh.
    assert sum(place == 12 for place in places) >= 4
    assert all(place is not None and place <= 12 for place in places)


def test_kinds_in_no_order_and_drift_are_told_as_what_they_are() -> None:
    kinds = [told_other(*CASES["two kinds, rate apart by 15 %"], seed) for seed in range(4)]
    assert sum(one.kinds and one.right > 0.9 for one in kinds) >= 3
    drifts = [told_other(*CASES["vacuum drifts by 15 % in all"], seed) for seed in range(4)]
    assert sum(one.drift for one in drifts) >= 3
    calm = [told_other(*CASES["one build"], seed) for seed in range(4)]
    assert sum(one.kinds or one.drift for one in calm) <= 1

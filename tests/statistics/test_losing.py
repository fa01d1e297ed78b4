"""More losses than before are told, the same are not; one clinic's rig is none of the build's."""

import numpy as np
import pandas as pd
import pytest

from registry.statistics.losing import LOSS_LIMITS, Losing, LossRuns, losing, sliced

TRIALS = 60


def table(rng: np.random.Generator, *, later: float = 1.0, at: tuple[int, ...] = (0, 1, 2)) -> pd.DataFrame:
    """Twelve units of three clinics read in all slices: some two losses per 100 cycles, overdispersed; from
    slice 5 on `later` times as many in clinics `at`."""
    rows = []
    for unit in range(12):
        own = 2 * rng.gamma(4, 0.25)
        for part in range(LOSS_LIMITS.slices):
            clinic = unit % 3
            rate = own * (later if part >= 5 and clinic in at else 1.0)
            losses = [100 / 60 * rng.poisson(rng.gamma(3, rate * 0.6 / 3)) for _ in range(3)]
            rows.append((unit, clinic, part, 3, float(np.mean(losses))))
    return pd.DataFrame(rows, columns=["unit", "clinic", "slice", "runs", "losses"])


def told(found: Losing | None) -> bool:
    return found is not None and found.is_material() and found.p < 0.01


def runs(rng: np.random.Generator, cells: int = 40) -> LossRuns:
    """Cells of a few runs each at any times, some of them at the very same."""
    each = rng.integers(1, 6, cells)
    total = int(each.sum())
    return LossRuns(
        unit=rng.integers(100, 106, cells),
        clinic=rng.integers(7, 10, cells),
        setting=np.arange(cells) % 4,
        runs=each,
        at=rng.integers(0, total // 2, total),
        losses=rng.gamma(2.0, 1.0, total),
    )


def test_single_runs_are_cut_into_stretches_of_as_many_and_their_settings_taken_off() -> None:
    found = runs(np.random.default_rng(40))
    plain = pd.DataFrame({"at": found.at, "losses": found.losses})
    for name in ("unit", "clinic", "setting"):
        plain[name] = np.repeat(getattr(found, name), found.runs)
    plain["told"] = plain["losses"] - plain.groupby("setting")["losses"].transform("mean")
    plain["told"] += plain["losses"].mean()
    plain = plain.sort_values(["at", "unit", "clinic", "losses"], ignore_index=True)
    stretches = np.array_split(np.arange(len(plain)), LOSS_LIMITS.slices)
    plain["slice"] = np.concatenate([np.full(len(one), place) for place, one in enumerate(stretches)])
    wanted = plain.groupby(["unit", "clinic", "slice"], as_index=False).agg(
        runs=("told", "size"), losses=("told", "mean"), at=("at", "min")
    )
    pd.testing.assert_frame_equal(sliced(found), wanted, check_dtype=False)


def test_as_often_as_before_is_hardly_ever_told() -> None:
    rng = np.random.default_rng(41)
    assert sum(told(losing(table(rng))) for _ in range(TRIALS)) / TRIALS <= 1 / TRIALS


def test_three_times_as_often_is_told_and_about_when() -> None:
    rng = np.random.default_rng(42)
    found = [losing(table(rng, later=3.0)) for _ in range(40)]
    assert sum(map(told, found)) / 40 >= 0.9
    assert np.median([one.place for one in found if one]) == 5


def test_p_is_no_smaller_than_it_says_where_nothing_changed() -> None:
    rng = np.random.default_rng(43)
    chances = [one.p for _ in range(TRIALS) if (one := losing(table(rng)))]
    assert np.mean(np.array(chances) < 0.05) <= 0.14


def test_what_one_clinic_sees_is_not_the_build_s() -> None:
    rng = np.random.default_rng(44)
    found = [losing(table(rng, later=6.0, at=(0,))) for _ in range(30)]
    assert not any(told(one) for one in found)


@pytest.mark.parametrize("short", ["unit", "clinic"])
def test_floors(short: str) -> None:
    rows = table(np.random.default_rng(45), later=5.0)
    few = rows[rows[short] < (2 if short == "unit" else 1)]
    assert losing(few) is None


def test_units_of_which_none_was_read_twice_are_held_against_each_other() -> None:
    rows = table(np.random.default_rng(46), later=4.0)
    parted = rows[(rows["unit"] < 6) == (rows["slice"] < 5)]
    found = losing(parted)
    assert found is not None
    assert found.after > 2 * found.before

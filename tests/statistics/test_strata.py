"""Differences worked out within strata and put together."""

import numpy as np
import pytest

from registry.statistics.crossed import Readings
from registry.statistics.differences import Fit, fit
from registry.statistics.equivalence import judge_pair
from registry.statistics.henderson import nothing_of_their_own, spread
from registry.statistics.strata import contrasts_of, unlike
from registry.statistics.tables import abreast


def strata(*of: tuple[float, float, int, int], seed: int = 1, scatter: float = 2.0) -> Fit:
    """Each stratum: value of old, of new, and units of either, all read once by one clinic's gauge."""
    rng = np.random.default_rng(seed)
    rows = [
        (2 * place + side, place, value)
        for place, (old, new, *counts) in enumerate(of)
        for side, value in ((0, old), (1, new))
        for _ in range(counts[side])
    ]
    cell, group, value = (np.array(column) for column in zip(*rows, strict=True))
    size = len(rows)
    found = fit(
        Readings(
            cell=cell.astype(np.intp),
            unit=np.arange(size),
            group=group.astype(np.intp),
            mean=value + rng.normal(0, scatter, size),
            runs=np.ones(size),
            systematic=np.full(size, 0.5),
            random=0.1,
            squares=0.0,
            freedom=0,
            build=np.tile([0, 1], len(of)),
        )
    )
    assert found is not None
    return found


def test_what_strata_differ_by_is_no_difference_between_builds() -> None:
    found = strata((200, 190, 12, 3), (100, 90, 3, 12))
    judged = judge_pair(found, None, family=1)
    assert judged.difference.value == pytest.approx(-10, abs=2.5)
    assert judged.new.value - judged.old.value == pytest.approx(judged.difference.value)
    assert judged.verdict == "different"


def test_several_strata_tell_more_than_one() -> None:
    alone = judge_pair(strata((200, 190, 4, 4)), None, family=1).difference
    both = judge_pair(strata((200, 190, 4, 4), (100, 90, 4, 4)), None, family=1).difference
    assert both.error < alone.error
    assert both.freedom > alone.freedom


def test_a_stratum_that_tells_little_weighs_little() -> None:
    found = strata((200, 190, 10, 10), (100, 50, 1, 1)).alone
    of = contrasts_of(found)
    in_first = found.tables.design.cell == 3
    assert of.new[0, in_first].sum() < 0.2
    assert of.new.sum() == pytest.approx(1) == pytest.approx(of.old.sum())


def test_one_stratum_is_the_plain_comparison() -> None:
    found = strata((200, 190, 6, 6)).alone
    of = contrasts_of(found)
    assert (of.old[0].tolist(), of.new[0].tolist()) == tuple(found.weights[0].tolist())
    assert np.isnan(unlike(found, of)).all()


def test_strata_that_differ_otherwise_are_found_out() -> None:
    apart, alike = strata((200, 200, 8, 8), (150, 110, 8, 8)), strata((200, 190, 8, 8), (150, 140, 8, 8))
    assert unlike(apart.alone, contrasts_of(apart.alone))[0] < 0.001
    assert unlike(alike.alone, contrasts_of(alike.alone))[0] > 0.05


def test_units_of_one_build_are_of_one_kin_in_all_strata() -> None:
    found = strata((200, 190, 8, 2), (100, 90, 8, 1))
    assert np.unique(found.spread.kin).size <= 2
    # Three new units are too few to be taken to scatter as the old ones do.
    assert found.spread.unit_freedom.min() < 3
    assert found.spread.unit_freedom.min() < found.spread.unit_freedom.max()
    assert not found.spread.unlike


def test_enough_units_are_taken_to_scatter_alike_until_they_clearly_do_not() -> None:
    ((_, tables),) = abreast([strata((200, 190, 12, 12)).readings])
    found = spread(tables, nothing_of_their_own(tables))
    assert found is not None
    assert np.unique(found.kin).size == 1

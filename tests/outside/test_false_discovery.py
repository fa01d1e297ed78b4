"""False discovery rates beside statsmodels' own (statsmodels.stats.multitest.multipletests, fdr_bh)."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.multitest import multipletests

from registry.statistics.discoveries import adjusted, always_valid, looked_at_again, shares


@pytest.mark.parametrize("size", [1, 2, 10, 1000])
def test_shares_are_those_of_statsmodels(size: int) -> None:
    """Source: statsmodels 0.14, `multipletests(p, method="fdr_bh")`, run here."""
    rng = np.random.default_rng(size)
    p = np.concatenate([rng.random(size), rng.random(size // 3) ** 6])
    told, shares, _, _ = multipletests(p, alpha=0.05, method="fdr_bh")
    assert adjusted(p) == pytest.approx(shares)
    assert ((adjusted(p) <= 0.05) == told).all()


def test_the_worked_example_of_benjamini_and_hochberg() -> None:
    """Benjamini and Hochberg (1995), J. R. Statist. Soc. B 57, 289, section 3: 15 p values of a trial of
    thrombolysis; four are told at 5 % where Bonferroni tells three. The figures are from memory."""
    p = [
        0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719,
        0.6528, 0.7590, 1.0,
    ]  # fmt: skip
    assert int((adjusted(p) <= 0.05).sum()) == 4
    assert int((np.array(p) * 15 <= 0.05).sum()) == 3


def test_the_least_likely_alone_come_to_the_same_below_the_cut() -> None:
    rng = np.random.default_rng(5)
    p = np.concatenate([rng.random(5000), rng.random(200) ** 5])
    least = p[p < 0.2]
    shares = multipletests(p, method="fdr_bh")[1][p < 0.2]
    sure = shares < 0.2
    assert sure.any()
    assert adjusted(least, p.size)[sure] == pytest.approx(shares[sure])


def test_each_kind_has_its_part_of_what_is_told_wrongly() -> None:
    """Source: statsmodels 0.14, `multipletests(p, method="fdr_bh")` of each kind at half of alpha, run here."""
    rng = np.random.default_rng(6)
    kinds = [rng.random(10) ** 4, rng.random(1000) ** 2]
    for p, found in zip(kinds, shares(kinds, [10, 1000]), strict=True):
        told = multipletests(p, alpha=0.025, method="fdr_bh")[0]
        assert told.any()
        assert ((found <= 0.05) == told).all()


def test_the_rate_over_all_kinds_is_held_and_no_kind_makes_room_for_another() -> None:
    """Benjamini and Hochberg (1995), by simulation: beside 30 units that are truly off and told, false ones
    are no more than 5 % of all that is told (and three standard errors), and a sound gauge among ten is told
    in no more than 2.5 % of sets; with one step-up over both kinds it is in more than 20 %."""
    rng, sets = np.random.default_rng(6), 400
    over_all, gauges, pooled = np.empty(sets), np.empty(sets, bool), np.empty(sets, bool)
    for k in range(sets):
        units = np.concatenate([rng.random(970), rng.random(30) * 1e-6])
        kinds = [rng.random(10), units]
        told_gauges, told_units = (found <= 0.05 for found in shares(kinds, [10, 1000]))
        false = told_gauges.sum() + told_units[:970].sum()
        over_all[k] = false / max(told_gauges.sum() + told_units.sum(), 1)
        gauges[k] = told_gauges.any()
        weighted = np.concatenate([kinds[0] * 20 / 1010, np.minimum(units * 2000 / 1010, 1)])
        pooled[k] = (adjusted(weighted)[:10] <= 0.05).any()
    assert over_all.mean() <= 0.05 + 3 * over_all.std() / sets**0.5
    assert gauges.mean() <= 0.025 + 3 * (0.025 * 0.975 / sets) ** 0.5
    assert pooled.mean() > 0.2


def _scores(rng: np.random.Generator, pieces: int, sets: int) -> np.ndarray:
    """Scores of the mean after every piece from the first on, nothing being the matter."""
    steps = np.cumsum(rng.normal(size=(sets, pieces)), axis=1)
    return steps / np.sqrt(np.arange(1, pieces + 1))


def test_looking_after_every_piece_is_paid_for() -> None:
    """Ville (1939): the charged chance falls below 0.05 at any of 300 looks in 5 % of sets at most; the bare
    one does so in far more."""
    scores = np.abs(_scores(np.random.default_rng(7), 300, 600))
    bare = 2 * stats.norm.sf(scores)
    charged = np.vectorize(always_valid)(bare, np.arange(1, 301)[None, :])
    assert (charged.min(axis=1) < 0.05).mean() <= 0.05
    assert (bare.min(axis=1) < 0.05).mean() > 0.3


def test_a_bounded_growth_costs_no_more_than_it_can_bring() -> None:
    """Pickands (1969): from the third piece to the three hundredth, information grows by log 100."""
    scores = np.abs(_scores(np.random.default_rng(8), 300, 3000))[:, 2:].max(axis=1)
    limit = 3.6
    seen = float((scores > limit).mean())
    expected = looked_at_again(float(2 * stats.norm.sf(limit)), float(np.log(100)))
    assert seen <= expected
    assert expected < 5 * seen

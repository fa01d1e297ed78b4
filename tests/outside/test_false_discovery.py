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


def test_each_kind_is_stepped_up_by_itself_and_with_all_others() -> None:
    """Source: statsmodels 0.14, `multipletests(p, method="fdr_bh")` of each kind, and of what these let by
    with weights of mean one (the others put out of reach), run here."""
    rng = np.random.default_rng(6)
    kinds = [rng.random(10) ** 4, rng.random(1000) ** 2]
    own = [multipletests(p, alpha=0.05, method="fdr_bh")[0] for p in kinds]
    weighted = [np.minimum(p * 2 * p.size / 1010, 1) for p in kinds]
    left = np.concatenate([np.where(told, p, 1.0) for p, told in zip(weighted, own, strict=True)])
    told = np.concatenate(own) & multipletests(left, alpha=0.05, method="fdr_bh")[0]
    assert told[:10].any()
    assert told[10:].any()
    assert ((np.concatenate(shares(kinds, [10, 1000], 0.05)) <= 0.05) == told).all()


def test_the_rate_is_held_over_all_kinds_and_in_one_that_has_nothing_to_tell() -> None:
    """Blanchard and Roquain (2008), by simulation: beside 30 units that are truly off and told, false ones
    are no more than 5 % of all that is told, and a sound gauge among ten is told in no more than 5 % of sets
    (and three standard errors); with one step-up over both kinds it is in more than 20 %."""
    rng, sets = np.random.default_rng(6), 400
    over_all, gauges, pooled = np.empty(sets), np.empty(sets, bool), np.empty(sets, bool)
    for k in range(sets):
        units = np.concatenate([rng.random(970), rng.random(30) * 1e-6])
        kinds = [rng.random(10), units]
        told_gauges, told_units = (found <= 0.05 for found in shares(kinds, [10, 1000], 0.05))
        false = told_gauges.sum() + told_units[:970].sum()
        over_all[k] = false / max(told_gauges.sum() + told_units.sum(), 1)
        gauges[k] = told_gauges.any()
        weighted = np.concatenate([kinds[0] * 20 / 1010, np.minimum(units * 2000 / 1010, 1)])
        pooled[k] = (adjusted(weighted)[:10] <= 0.05).any()
    assert over_all.mean() <= 0.05 + 3 * over_all.std() / sets**0.5
    assert gauges.mean() <= 0.05 + 3 * (0.05 * 0.95 / sets) ** 0.5
    assert pooled.mean() > 0.2


def test_healthy_kinds_are_left_in_peace_whatever_their_sizes() -> None:
    """Genovese, Roeder and Wasserman (2006), by simulation: of 400 healthy sets of 10 gauges and 1,000 units
    no more than 5 % (and three standard errors) tell anything."""
    rng = np.random.default_rng(6)
    false = 0
    for _ in range(400):
        found = shares([rng.random(10), rng.random(1000)], [10, 1000], 0.05)
        false += bool((np.concatenate(found) <= 0.05).any())
    assert false / 400 <= 0.05 + 3 * (0.05 * 0.95 / 400) ** 0.5


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

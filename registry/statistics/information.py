"""How much an answer still to come would tell: expected information in bits."""

from collections.abc import Callable, Sequence

import numpy as np
from scipy import stats

from registry.statistics.robust import Floats

# What tells less than this is not worth asking: common practice, no published source.
WORTH_ASKING = 0.05
_SEED = 20_260


def entropy(chances: Floats) -> float:
    """Shannon's entropy in bits; chances add up to one."""
    some = chances[chances > 0]
    return max(-float(some @ np.log2(some)), 0.0)


def information(chances: Floats, answers: Floats) -> float:
    """Expected information in bits of an answer of a few kinds: the mutual information with the hypothesis.

    `answers` has a row a hypothesis and a column a possible answer; each row adds up to one.
    """
    expected = chances @ answers
    left = sum(
        float(share) * entropy(chances * column / share)
        for share, column in zip(expected, answers.T, strict=True)
        if share > 0
    )
    return max(entropy(chances) - left, 0.0)


Density = Callable[[Floats], Floats]


def information_of_values(
    chances: Floats, draws: Sequence[Floats], densities: Sequence[Density], least: float = 1e-4
) -> float:
    """Expected information in bits of an answer that is a point, by integration over where it may lie.

    `draws` holds points spread as each hypothesis predicts them, `densities` the natural logarithm of each
    prediction's density at points (a row each). Hypotheses of less than `least` chance are passed over.
    """
    kept = [int(place) for place in np.flatnonzero(chances >= least)]
    weights: Floats = chances[kept] / chances[kept].sum()
    left = 0.0
    for place, weight in zip(kept, weights, strict=True):
        logs = np.log(weights) + np.column_stack([densities[one](draws[place]) for one in kept])
        logs -= logs.max(axis=1, keepdims=True)
        after = np.exp(logs)
        after /= after.sum(axis=1, keepdims=True)
        bits = -np.sum(np.where(after > 0, after * np.log2(np.maximum(after, 1e-300)), 0.0), axis=1)
        left += float(weight) * float(bits.mean())
    return max(entropy(weights) - left, 0.0)


def spread_points(size: int, dimensions: int) -> Floats:
    """Points evenly spread over the unit cube, never at its faces; the same each time (Sobol, scrambled).

    A power of two of them integrates best.
    """
    made = stats.qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(_SEED)).random(size)
    points: Floats = np.clip(np.asarray(made, float), 1e-6, 1 - 1e-6)
    return points

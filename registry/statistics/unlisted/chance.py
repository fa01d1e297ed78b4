"""How likely the largest of many correlated figures is by chance."""

import math

import numpy as np
from scipy import special, stats

from registry.statistics.robust import Floats

_RARE, _NEVER = 0.5, 1e-300


def of_effect(t: float, freedom: float) -> float:
    """The chance of a change as large as `t` standard errors or larger, either way, at a given place."""
    return float(min(2.0 * stats.t.sf(abs(t), freedom), 1.0))


def of_largest(alone: float, chain: Floats) -> float:
    """The chance that one of several figures is as unlikely as `alone`, either way.

    `chain` holds each further figure's correlation with one before it. The bound of Hunter (1976, J. Appl.
    Prob. 13, 597) and Worsley (1982, Biometrika 69, 297): what each figure adds is its chance less that of
    both; of two normal figures that is Owen's T (from memory; tried by simulation in the tests). Student's
    figures count as the normal ones that are as unlikely.
    """
    if alone >= _RARE or not chain.size:
        return min(alone * (1 + chain.size), 1.0)
    z = -float(special.ndtri_exp(math.log(max(alone / 2.0, _NEVER))))
    alike = np.clip(np.abs(chain), 0.0, 1.0)
    adds = 4.0 * special.owens_t(z, ((1.0 - alike) / (1.0 + alike)) ** 0.5)
    return float(min(alone + np.minimum(adds, alone).sum(), 1.0))


def chain_of(correlations: Floats) -> Floats:
    """From a table of correlations, each figure's with that of those before it which it is most like."""
    size, alike = correlations.shape[0], np.abs(correlations)
    inside, chain = [0], []
    while len(inside) < size:
        outside = [one for one in range(size) if one not in inside]
        among = alike[np.ix_(inside, outside)]
        best = int(among.max(axis=0).argmax())
        chain.append(float(among[:, best].max()))
        inside.append(outside[best])
    return np.array(chain)

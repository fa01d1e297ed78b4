"""How often one looks, in how many places, and what that costs: false discoveries kept rare."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from registry.statistics.robust import Floats


def adjusted(chances: ArrayLike, looked_at: int | None = None) -> Floats:
    """Return q for each p value: the least share of false discoveries at which it would count as one.

    Benjamini and Hochberg (1995), step up. `looked_at` is how many were looked at in all when `chances` holds
    only the least likely of them: those left out must each be larger than all given; q is then too large
    where one of them would have lowered it, never too small. Raises ValueError outside 0 to 1.
    """
    p = np.asarray(chances, float)
    if p.size and not (np.all(p >= 0) and np.all(p <= 1)):
        raise ValueError("a chance lies from 0 to 1")
    size = max(p.size, looked_at or 0)
    order = np.argsort(-p, kind="stable")
    rank = np.arange(p.size, 0, -1)
    found = np.empty(p.size)
    found[order] = np.minimum(1.0, np.minimum.accumulate(p[order] * size / np.maximum(rank, 1)))
    return found


def shares(kinds: Sequence[Floats], sizes: Sequence[int], level: float) -> list[Floats]:
    """Return q for p values of several kinds of things: the share of false discoveries, over all and its own.

    `sizes` says how many of each kind were looked at. Over all kinds each has the same say, whether there are
    ten gauges or ten thousand units (see `factors_of`). Only what `adjusted` within its own kind lets by at
    `level` counts and is let by there, so that wild units, rightly told, let no sound gauge by. What is told
    at `level` is self-consistent and grows as chances fall, so its rate is held over all kinds (Blanchard and
    Roquain 2008, Electronic Journal of Statistics 2, 963).
    """
    own = np.concatenate([np.empty(0), *(adjusted(p, n) for p, n in zip(kinds, sizes, strict=True))])
    factors = zip(kinds, factors_of(sizes), strict=True)
    weighted = np.concatenate([np.empty(0), *(np.minimum(1.0, p * factor) for p, factor in factors)])
    over_all, counted = adjusted(weighted, sum(sizes)), own <= level
    over_all[counted] = adjusted(weighted[counted], sum(sizes))
    return np.split(np.maximum(own, over_all), np.cumsum([len(p) for p in kinds])[:-1])


def factors_of(sizes: Sequence[int]) -> list[float]:
    """Return what p values of each kind are multiplied by for each kind to have the same say.

    They are divided by weights that come to one on average over all `sizes` (Genovese, Roeder and Wasserman
    2006, Biometrika 93, 509), which leaves the false discovery rate over all of them what it is.
    """
    kinds, total = sum(size > 0 for size in sizes), sum(sizes)
    return [kinds * size / max(total, 1) for size in sizes]


def looked_at_again(chance: float, growth: float) -> float:
    """Return the chance that a score as large comes up at any of all looks, however often one looks.

    `growth` is the logarithm of how much the information behind the score grows from the first look on to
    all there can ever be: what a gauge declares of itself is drawn once and no further unit tells more. Over
    the logarithm of information the score is an Ornstein-Uhlenbeck process, and by Pickands' theorem (1969,
    Transactions of the American Mathematical Society 145, 51; here from memory) it is beyond z in a stretch
    with z^2 growth / 2 times the chance that it is at one point.
    """
    if chance >= 1 or growth <= 0:
        return min(chance, 1.0)
    z = -float(special.ndtri(max(chance, 1e-300) / 2))
    return min(1.0, chance * (1 + z * z * growth / 2))


def always_valid(chance: float, pieces: int) -> float:
    """Return a p value that stays one however often one looks again while evidence comes in.

    The score behind `chance` is that of a mean over `pieces` independent pieces of evidence. Mixed over
    normal effects of one piece's own spread, its likelihood ratio against no effect is a martingale, so that
    it ever exceeds 1/p with a chance of p at most (Ville 1939; Robbins 1970, Annals of Mathematical
    Statistics 41, 1397). With 0 pieces, where further looks draw nothing anew, the chance is returned.
    """
    if pieces <= 0 or chance >= 1:
        return min(chance, 1.0)
    z = -float(special.ndtri(max(chance, 1e-300) / 2))
    grown = pieces / (1.0 + pieces)
    log_ratio = z * z * grown / 2 - 0.5 * float(np.log1p(pieces))
    return min(1.0, float(np.exp(-log_ratio)))

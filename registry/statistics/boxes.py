"""How likely correlated standard normal values all lie within their bounds, for many boxes in one go.

Two values: the derivative by the correlation is the bivariate density at the corners (R. L. Plackett,
Biometrika 41 (1954) 351), integrated over the arcsine of the correlation (A. Genz, Stat. Comput. 14 (2004)
251). More: separation of variables (A. Genz, J. Comput. Graph. Stat. 1 (1992) 141) down to the last two, at
fixed points, good to about 0.0005 for three values and 0.004 for more. Formulas from memory; tests hold them
against scipy.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import special

from registry.statistics.robust import Floats

# Beyond this many standard deviations nothing lies.
SURE = 8.0
_HAIR = 1e-12
_LEAST = 1e-300
_LEAST_EIGEN = 1e-6
# Of a corner further out than this no digit is left that anybody is told: e to its negative is 1.4e-11.
_FAR = 25.0
# Of fewer columns with a corner that is not as far out, these are worked out by themselves.
_MOSTLY = 0.6
_AT_ONCE = 4096
Rule = tuple[Floats, Floats]
Rules = tuple[tuple[float, Floats, Floats], ...]


def _legendre(nodes: int) -> Rule:
    """Nodes and weights of Gauss and Legendre from 0 to 1."""
    x, weights = np.polynomial.legendre.leggauss(nodes)
    return (x + 1) / 2, weights / 2


# The wider the arc, the more nodes: by the largest correlation they are used for, good to 1e-10; and where
# little cost counts for more, to 1e-6 and to ROUGHLY.
EXACT, FINE, ROUGH = (
    tuple((up_to, *_legendre(nodes)) for up_to, nodes in of)
    for of in (((0.6, 6), (0.9, 12), (1.0, 32)), ((0.9, 6), (1.0, 16)), ((0.9, 3), (1.0, 6)))
)
ROUGHLY = 1e-3
_NODES, _POINTS = 16, 61
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43)


def box_chances(low: Floats, high: Floats, together: Floats) -> Floats:
    """Return the chance of each box: `low` and `high` have a row a box and a column a value.

    `together` holds a matrix of correlations a box. What is found of a box does not depend on the others.
    """
    low, high = np.clip(low, -SURE, SURE), np.clip(high, -SURE, SURE)
    found = np.zeros(low.shape[0])
    some = np.flatnonzero(np.all(low < high, axis=1))
    if some.size:
        found[some] = _CHANCES.get(low.shape[1], _many)(low[some], high[some], together[some])
    return np.clip(found, 0.0, 1.0)


def pair_chances(
    rho: Floats, first: tuple[Floats, Floats], second: tuple[Floats, Floats], rules: Rules
) -> Floats:
    """The same of two values: a correlation a box, and both ends of either. No box may be of no width.

    `rules` are EXACT, FINE or ROUGH, which is good to ROUGHLY at a quarter of the cost.
    """
    low, high, below, above = (np.clip(end, -SURE, SURE)[None] for of in (first, second) for end in of)
    found: Floats = np.clip(_pairs(rho, low, high, below, above, rules=rules)[0], 0.0, 1.0)
    return found


def _one(low: Floats, high: Floats, _: Floats) -> Floats:
    return _between(low[:, 0], high[:, 0])


def _between(low: Floats, high: Floats) -> Floats:
    """The share of a normal between bounds, from the nearer tail, so that nothing is lost far out."""
    above = low > 0
    near, far = np.where(above, -high, low), np.where(above, -low, high)
    share: Floats = special.ndtr(far) - special.ndtr(near)
    return share


def _two(low: Floats, high: Floats, together: Floats) -> Floats:
    ends = (end[None, :, which] for which in (0, 1) for end in (low, high))
    found: Floats = _pairs(together[:, 0, 1], *ends)[0]
    return found


def _pairs(
    rho: Floats, low: Floats, high: Floats, below: Floats, above: Floats, *, rules: Rules = EXACT
) -> Floats:
    """Boxes of two values, by the size of their correlation, of which each column of boxes has one."""
    found = _between(low, high) * _between(below, above)
    size, least = np.abs(rho), 0.0
    most_columns = max(_AT_ONCE // low.shape[0], 1)
    for most, *rule in rules:
        some = np.flatnonzero((size > least) & (size <= most))
        least = most
        # So many at a time stay near the processor.
        for start in range(0, some.size, most_columns):
            at = some[start : start + most_columns]
            every = at.size == rho.size
            ends = (low, high, below, above) if every else (of[:, at] for of in (low, high, below, above))
            found[:, at] += _bound((rule[0], rule[1]), rho if every else rho[at], *ends)
    return found


def _bound(rule: Rule, rho: Floats, low: Floats, high: Floats, below: Floats, above: Floats) -> Floats:
    """What two values have more in the box than if they did not go together."""
    arc = np.arcsin(np.clip(rho, -1 + _HAIR, 1 - _HAIR))
    angle = rule[0][:, None, None] * arc
    sine, by = np.sin(angle), -0.5 / np.cos(angle) ** 2
    furthest = 2 * _FAR * (1 + np.abs(rho))
    density = np.zeros((angle.shape[0], *low.shape))
    for add, x, y in (
        (np.add, high, above), (np.subtract, low, above), (np.subtract, high, below), (np.add, low, below),
    ):  # fmt: skip
        across, up = x * x, y * y
        square = across + up
        # The density is at most e to minus half of the larger of both, and to minus half of the sum of both
        # over 1 and the correlation.
        near = ((square < furthest) & (np.maximum(across, up) < 2 * _FAR)).any(axis=0)
        some = np.flatnonzero(near)
        if some.size > _MOSTLY * near.size:
            add(density, _corner(sine, by, x, y, square), out=density)
        elif some.size:
            of = (each[..., some] for each in (sine, by, x, y, square))
            density[..., some] = add(density[..., some], _corner(*of))
    bound: Floats = np.tensordot(rule[1], density, 1) * (arc / (2 * np.pi))
    return bound


def _corner(sine: Floats, by: Floats, x: Floats, y: Floats, square: Floats) -> Floats:
    """The densities at one corner of each box at each angle."""
    found: Floats = sine * (-2 * x * y)
    found += square
    found *= by
    return np.exp(found, out=found)


def _many(low: Floats, high: Floats, together: Floats) -> Floats:
    """One value after the other, each given those before it, and the last two at once."""
    low, high, together = _narrowest_first(low, high, _rooted(together))
    root: Floats = np.asarray(np.linalg.cholesky(together), float)
    size = low.shape[1] - 2
    points, weights = _points(size)
    found = np.ones((weights.size, low.shape[0]))
    drawn: list[Floats] = []
    for k in range(size):
        least, most = (special.ndtr(end) for end in _given(low, high, root, drawn, k))
        found *= most - least
        drawn.append(special.ndtri(np.clip(least + points[:, k, None] * (most - least), _LEAST, 1 - _HAIR)))
    left = np.sqrt(root[:, -1, -2] ** 2 + root[:, -1, -1] ** 2)
    first = _given(low, high, root, drawn, size)
    last = [end * (root[:, -1, -1] / left) for end in _given(low, high, root, drawn, size + 1)]
    inner = _pairs(root[:, -1, -2] / left, *first, *last)
    mean: Floats = np.sum(weights[:, None] * found * inner, axis=0)
    return mean


def _given(low: Floats, high: Floats, root: Floats, drawn: list[Floats], k: int) -> list[Floats]:
    """Both ends of a value less what those drawn make of it, over what its own diagonal is."""
    before = sum((root[:, k, j] * one for j, one in enumerate(drawn)), np.zeros(()))
    return [(end[:, k] - before) / root[:, k, k] for end in (low, high)]


def _narrowest_first(low: Floats, high: Floats, together: Floats) -> tuple[Floats, Floats, Floats]:
    """The values of each box so that what is the least likely comes first: the rest then matters less."""
    order = np.argsort(_between(low, high), axis=1, kind="stable")
    rows = np.arange(low.shape[0])[:, None]
    return low[rows, order], high[rows, order], together[rows[:, :, None], order[:, :, None], order[:, None]]


@lru_cache
def _points(dimensions: int) -> Rule:
    """Points of the unit cube and their weights: of Gauss and Legendre, or Richtmyer's, folded."""
    if dimensions == 1:
        nodes, weights = _legendre(_NODES)
        return nodes[:, None], weights
    roots = np.sqrt(np.array(_PRIMES[:dimensions], float))
    points: Floats = np.abs(2 * np.mod(np.arange(1, _POINTS + 1)[:, None] * roots, 1.0) - 1)
    return points, np.full(_POINTS, 1 / _POINTS)


def _rooted(together: Floats) -> Floats:
    """Correlations found pair by pair need not be those of anything: the nearest that are."""
    # Where no row has as much beside the diagonal as on it, they are (S. A. Gershgorin, 1931).
    doubtful = np.flatnonzero(np.abs(together).sum(axis=2).max(axis=1) > 2 - 2 * _LEAST_EIGEN)
    if _are_rooted(together[doubtful]):
        return together
    values, vectors = np.linalg.eigh(together[doubtful])
    wrong: NDArray[np.bool_] = values.min(axis=1, initial=1.0) < _LEAST_EIGEN
    if not wrong.any():
        return together
    mended = together.copy()
    raised = np.maximum(values[wrong], _LEAST_EIGEN)
    made = np.einsum("bij,bj,bkj->bik", vectors[wrong], raised, vectors[wrong])
    size = np.sqrt(np.einsum("bii->bi", made))
    mended[doubtful[wrong]] = made / (size[:, :, None] * size[:, None, :])
    return mended


def _are_rooted(together: Floats) -> bool:
    """Whether no matrix has an eigenvalue below _LEAST_EIGEN, at a tenth of the cost of looking for these."""
    try:
        np.linalg.cholesky(together - _LEAST_EIGEN * np.eye(together.shape[1]))
    except np.linalg.LinAlgError:
        return False
    return True


_CHANCES = {1: _one, 2: _two}

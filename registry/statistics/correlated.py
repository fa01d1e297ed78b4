"""How metrics go together over units: what binds the chances of needs that are to be met at once."""

from collections.abc import Sequence

import numpy as np

from registry.statistics.robust import Floats

# Fisher's z of a correlation of so many rows varies by one over the rest (R. A. Fisher, Metron 1 (1921) 3).
_TAKEN = 3.0
# The other levels count for so many rows at most.
_OTHERS = 6.0
# What is held before looking, all correlations alike from -1 to 1, counts for as many rows: z varies by
# pi^2 / 12 then.
_BELIEF = 12 / np.pi**2
_MOST = 0.99
# What is left of values, or of their squares, below this share of them is rounding.
_ROUNDING = 1e-12


def correlations(levels: Sequence[Floats]) -> Floats:
    """Correlations of metrics at the levels of one programme of one build, a matrix a level.

    Each of `levels` has a row a unit at a clinic and a column a metric, the same ones at all levels; NaN
    where a metric was not read. A correlation is that of the rows that have both metrics, drawn in Fisher's z
    towards what the other levels show, as by six more rows at most, and towards none, as by little more than
    one. Metrics that do not vary go with nothing.
    """
    found, worth = (np.stack(of) for of in zip(*map(_pairwise, levels), strict=True))
    told = np.arctanh(found) * worth
    others = worth.sum(axis=0) - worth
    share = np.minimum(_OTHERS / np.maximum(others, 1.0), 1.0)
    drawn: Floats = told + share * (told.sum(axis=0) - told)
    drawn = np.tanh(drawn / (worth + share * others + _BELIEF))
    every = np.arange(drawn.shape[-1])
    drawn[:, every, every] = 1.0
    return drawn


def _pairwise(values: Floats) -> tuple[Floats, Floats]:
    """Correlations of the columns, each two over the rows that have both; and the rows that these tell with.

    Both are nought where rows are too few or either column does not vary.
    """
    there = ~np.isnan(values)
    marks, given = there.astype(float), np.where(there, values, 0.0)
    # Counted from the mean of all its rows, so that sums of squares lose no digits.
    given -= marks * (given.sum(axis=0) / np.maximum(marks.sum(axis=0), 1.0))
    rows, sums, squares = marks.T @ marks, given.T @ marks, (given**2).T @ marks
    size = np.maximum(rows, 1.0)
    left = squares - sums**2 / size
    least = _ROUNDING * np.where(there, np.abs(values), 0.0).max(axis=0, initial=0.0)
    varies = left > np.maximum(_ROUNDING * squares, least[:, None] ** 2)
    told = varies & varies.T & (rows > _TAKEN)
    both = np.sqrt(np.where(told, left * left.T, 1.0))
    found = np.where(told, (given.T @ given - sums * sums.T / size) / both, 0.0)
    return np.clip(found, -_MOST, _MOST), np.where(told, rows - _TAKEN, 0.0)

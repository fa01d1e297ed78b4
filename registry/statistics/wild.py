"""Find units so far from their fellows that they would carry a comparison off."""

import numpy as np

from registry.statistics.mixed import Codes
from registry.statistics.robust import Floats, middles, scaled_mad, stretch

_ROUNDS = 10
_CROWD = 3
_TELLING = 4
_LIMIT = 5.0


def wild_units(values: Floats, noise: Floats, cell: Codes, unit: Codes, group: Codes) -> Codes:
    """Return the codes of units that stand out of their cell, at most a fifth of all units.

    A unit stands out where its rows lie, on average, beyond 5 scaled median absolute deviations, widened
    for small samples (`robust.stretch`) so that fewer than one sound sample in twenty loses a unit. Rows of
    groups with three rows and more are held against their group, others against all rows of their cell,
    where the scale takes in what groups differ by. `noise` is each row's variance by its runs; the scale
    never falls below it, and never below what a cell's own units scatter by: a build whose units differ more
    than another's has no wild ones for that. Of fewer than four units of a cell none stands out: which
    of them is the odd one cannot be told.
    """
    crowded = np.bincount(group)[group] >= _CROWD
    far = np.zeros(int(unit.max()) + 1)
    if crowded.any():
        apart, used = _within_groups(values[crowded], cell[crowded], group[crowded])
        _score(far, apart, noise[crowded], unit[crowded], cell[crowded], used)
    alone = np.setdiff1d(unit, unit[crowded])
    if alone.size:
        overall = np.zeros_like(far)
        cells = int(cell.max()) + 1
        _score(overall, values - middles(values, cell)[cell], noise, unit, cell, cells)
        far[alone] = overall[alone]
    wild = np.flatnonzero(far > _LIMIT)
    worst = wild[np.argsort(-far[wild], kind="stable")][: far.size // 5]
    return np.sort(worst)


def _score(far: Floats, apart: Floats, noise: Floats, unit: Codes, cell: Codes, used: int) -> None:
    """Write into `far` how far each unit's rows lie on average, in widened scales.

    `used` medians were taken off the rows. A unit's rows lean alike, so it is units that are counted.
    """
    units, code = np.unique(unit, return_inverse=True)
    mean = np.bincount(code, apart) / np.bincount(code)
    left = min(units.size, apart.size - used + 1)
    if left < _CROWD:
        return
    scale = scaled_mad(mean) * float(np.sqrt(units.size / left))
    scale = max(scale, float(np.sqrt(noise.mean())))
    if scale > 0:
        own = np.maximum(scale, _own_scales(mean, code, cell))
        far[units] = np.abs(mean) / (own * stretch(left))


def _own_scales(mean: Floats, code: Codes, cell: Codes) -> Floats:
    """For each unit the largest scale of the cells it was read in; `code` and `cell` have a value a row.

    A cell of few units sets no bound to any of them.
    """
    largest = np.zeros(mean.size)
    for one in np.unique(cell):
        inside = np.unique(code[cell == one])
        scale = scaled_mad(mean[inside]) if inside.size >= _TELLING else np.inf
        largest[inside] = np.maximum(largest[inside], scale)
    return largest


def _within_groups(values: Floats, cell: Codes, group: Codes) -> tuple[Floats, int]:
    """What cells and groups together leave, by taking medians in turn, and how many medians that took."""
    cells, groups = (np.unique(codes, return_inverse=True)[1] for codes in (cell, group))
    apart = values - middles(values, cells)[cells]
    for _ in range(_ROUNDS):
        apart = apart - middles(apart, groups)[groups]
        shift = middles(apart, cells)
        apart = apart - shift[cells]
        if np.abs(shift).max() <= 1e-9 * max(float(np.abs(values).max()), 1e-300):
            break
    return apart, int(groups.max()) + int(cells.max()) + 1

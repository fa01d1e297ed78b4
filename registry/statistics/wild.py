"""Find units so far from their fellows that they would carry a comparison off."""

import numpy as np
from numpy.typing import NDArray

from registry.statistics.designs import Codes
from registry.statistics.robust import Floats, stretch
from registry.statistics.stacks import sums
from registry.statistics.tables import Medians, scaled_mads

_ROUNDS = 10
_CROWD = 3
_TELLING = 4
_LIMIT = 5.0


def wild_units(values: Floats, noise: Floats, cell: Codes, unit: Codes, group: Codes) -> NDArray[np.bool_]:
    """Mark the units that stand out of their cell, at most a fifth of all: a row a table, a column a unit.

    `values` and `noise` have a row a table and a column a reading; all tables are of one design.

    A unit stands out where its rows lie, on average, beyond 5 scaled median absolute deviations, widened
    for small samples (`robust.stretch`) so that fewer than one sound sample in twenty loses a unit. Rows of
    groups with three rows and more are held against their group, others against all rows of their cell,
    where the scale takes in what groups differ by. `noise` is each row's variance by its runs; the scale
    never falls below it, and never below what a cell's own units scatter by: a build whose units differ more
    than another's has no wild ones for that. Of fewer than four units of a cell none stands out: which
    of them is the odd one cannot be told.
    """
    crowded = np.bincount(group)[group] >= _CROWD
    far = np.zeros((values.shape[0], int(unit.max()) + 1))
    if crowded.any():
        rows = np.flatnonzero(crowded)
        apart, used = _within_groups(values.take(rows, axis=1), cell[crowded], group[crowded])
        _score(far, apart, noise.take(rows, axis=1), unit[crowded], cell[crowded], used)
    alone = np.zeros(0, np.intp) if crowded.all() else np.setdiff1d(unit, unit[crowded])
    if alone.size:
        overall = np.zeros_like(far)
        cells = int(cell.max()) + 1
        _score(overall, values - Medians(cell)(values)[:, cell], noise, unit, cell, cells)
        far[:, alone] = overall[:, alone]
    return _worst(far)


def _worst(far: Floats) -> NDArray[np.bool_]:
    """Those beyond the limit, no more than a fifth of all."""
    wild: NDArray[np.bool_] = far > _LIMIT
    most = far.shape[1] // 5
    for table in np.flatnonzero(wild.sum(axis=1) > most):
        there = np.flatnonzero(wild[table])
        wild[table, there[np.argsort(-far[table, there], kind="stable")][most:]] = False
    return wild


def _score(far: Floats, apart: Floats, noise: Floats, unit: Codes, cell: Codes, used: int) -> None:
    """Write into `far` how far each unit's rows lie on average, in widened scales.

    `used` medians were taken off the rows. A unit's rows lean alike, so it is units that are counted.
    """
    units, code = np.unique(unit, return_inverse=True)
    by_unit = sums(code)
    mean = by_unit(apart) / by_unit.size
    left = min(units.size, apart.shape[1] - used + 1)
    if left < _CROWD:
        return
    scale = scaled_mads(mean) * float(np.sqrt(units.size / left))
    scale = np.maximum(scale, np.sqrt(noise.mean(axis=1)))[:, None]
    own = np.maximum(scale, _own_scales(mean, code, cell)) * stretch(left)
    far[:, units] = np.where(scale > 0, np.abs(mean) / np.where(scale > 0, own, 1.0), 0.0)


def _own_scales(mean: Floats, code: Codes, cell: Codes) -> Floats:
    """For each unit the largest scale of the cells it was read in; `code` and `cell` have a value a row.

    A cell of few units sets no bound to any of them.
    """
    largest = np.zeros_like(mean)
    for one in np.unique(cell):
        inside = np.unique(code[cell == one])
        scale = scaled_mads(mean[:, inside])[:, None] if inside.size >= _TELLING else np.inf
        largest[:, inside] = np.maximum(largest[:, inside], scale)
    return largest


def _within_groups(values: Floats, cell: Codes, group: Codes) -> tuple[Floats, int]:
    """What cells and groups together leave, by taking medians in turn, and how many medians that took."""
    cells, groups = (np.unique(codes, return_inverse=True)[1] for codes in (cell, group))
    by_cell, by_group = Medians(cells), Medians(groups)
    apart = values - by_cell(values).take(cells, axis=1)
    least = 1e-9 * np.maximum(np.abs(values).max(axis=1), 1e-300)
    moving = np.arange(values.shape[0])
    for _ in range(_ROUNDS):
        some = apart if moving.size == apart.shape[0] else apart[moving]
        some -= by_group(some).take(groups, axis=1)
        shift = by_cell(some)
        some -= shift.take(cells, axis=1)
        if some is not apart:
            apart[moving] = some
        moving = moving[np.abs(shift).max(axis=1) > least[moving]]
        if not moving.size:
            break
    return apart, int(groups.max()) + int(cells.max()) + 1

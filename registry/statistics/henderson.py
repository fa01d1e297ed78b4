"""How much units and groups scatter, from sums of squares within groups and cells, and within cells.

Henderson's third method (C. R. Henderson, Biometrics 9, 1953): sums of squares are set equal to their
expectations, whatever the unbalance, units read once or in several cells and groups.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from registry.statistics.crossed import CERTAIN, Readings
from registry.statistics.designs import held_beside, less_means, one_hot, span
from registry.statistics.mixed import Codes
from registry.statistics.robust import Floats

_TINY = 1e-9
_HAIR = 1e-300
# Beyond so many units what one of them weighs more than another no longer matters to what is known.
_MOST_UNITS = 500
_UNLIKE = 0.05
# With fewer degrees of freedom even a spread four times as large often passes the test of being unlike.
_TELLING = 4.5
# For how many degrees of freedom the common spread counts in that of a kin that can tell little by itself:
# found by simulation, where intervals of two or three units hold what they say.
_LENT = 0.5
_SINGULAR = 1e9


@dataclass(frozen=True)
class Own:
    """What units change by from cell to cell beyond what cells do: a variance, and how well it is known."""

    variance: float
    freedom: float


NOTHING_OF_THEIR_OWN = Own(0.0, CERTAIN)


@dataclass(frozen=True)
class Spread:
    """How much units and groups scatter.

    Units that are read in the same cells are of one kin, whose code `kin` gives for each unit; all are of one
    unless kins clearly differ (`unlike`), or one is too small for that to show. `unit` holds a variance a kin
    and `unit_freedom` to how many degrees of freedom each is known; `group` one variance a group.
    """

    kin: Codes
    unit: Floats
    unit_freedom: Floats
    own: Own
    group: Floats
    group_freedom: float
    unlike: bool = False


@dataclass(frozen=True)
class _Sum:
    """A sum of squares, what noise puts into it, and how much of each variance it holds."""

    squares: float
    noise: float
    unit: float
    own: float
    freedom: float

    def left(self, own: Own) -> float:
        """What neither noise nor what units have of their own in cells accounts for."""
        return self.squares - self.noise - own.variance * self.own


def own_spread(of: Readings) -> Own | None:
    """How much a unit changes from cell to cell beyond what all units do; None where nothing tells it.

    From the sum of squares within units, cells and groups. Where every unit is read once in either of two
    cells this is the paired t test's.
    """
    again = (np.bincount(of.unit) > 1)[of.unit]
    if not again.all():
        of = of.only(again)
    cells = one_hot(of.cell)
    found = _within_units(of, np.column_stack([one_hot(of.group), cells]))
    between = span(less_means(cells, of.unit)).shape[1]
    freedom = min(found.freedom, int(of.pair.max()) - int(of.unit.max()) - between)
    if freedom < 1 or found.own <= _TINY:
        return None
    return Own(max((found.squares - found.noise) / found.own, 0.0), float(freedom))


def spread(of: Readings, own: Own = NOTHING_OF_THEIR_OWN) -> Spread | None:
    """Variances between units and between groups; None where nothing tells how much units scatter."""
    within, overall = _within_groups(of), _within_cells(of)
    one = np.zeros(int(of.unit.max()) + 1, np.intp)
    if within.freedom > 0 and within.unit > _TINY:
        unit = np.array([max(within.left(own) / within.unit, 0.0)])
        known = max(min(_freedom_of_units(of, within.freedom), float(of.design.units_free)), 1.0)
        parted = _by_kin(of, own)
        kin, unit, freedom = parted[:3] if parted else (one, unit, np.array([known]))
        group, group_freedom = _of_groups(of, overall, own, unit[kin])
        return Spread(kin, unit, freedom, own, group, group_freedom, parted is not None and parted[3])
    if overall.freedom <= 0 or overall.unit <= _TINY:
        return None
    # Each group has one unit a cell at most: what is not the gauges' by their own word is the units'.
    leaning = of.leaning
    gauges = float(np.sum(leaning * of.design.by_group))
    unit = np.array([max((overall.left(own) - gauges) / overall.unit, 0.0)])
    return Spread(one, unit, np.array([overall.freedom]), own, leaning, CERTAIN)


def kin_of(of: Readings) -> Codes:
    """The kin of each unit: units are of one where a chain of units read in the same cells links them."""
    return of.design.kin


def _of_groups(of: Readings, overall: _Sum, own: Own, unit: Floats) -> tuple[Floats, float]:
    """A variance a group, no less than its gauge declares, and its degrees of freedom."""
    design = of.design
    leaning, held = of.leaning, design.within_cells[2]
    told = design.groups + design.basis.shape[1] - design.cells if held > _TINY else 0
    left = overall.left(own) - float(np.sum(unit * design.by_unit))
    estimated = max(left / held, 0.0) if told > 0 else 0.0
    group = np.maximum(leaning, estimated)
    # Up to what gauges declare it counts as known; only what is seen beyond that has to be estimated.
    seen = max(estimated - float(leaning.mean()), 0.0) / max(float(group.mean()), _HAIR)
    return group, told / seen**2 if seen > 0 else CERTAIN


def _by_kin(of: Readings, own: Own) -> tuple[Codes, Floats, Floats, bool] | None:
    """The kin of each unit, a variance a kin with its degrees of freedom, and whether they clearly differ.

    None where kins scatter alike as far as can be told, or where one of them cannot tell at all. A kin of few
    degrees of freedom could hardly show that it scatters otherwise, so all then count with their own spread,
    drawn towards the common one as by `_LENT` degrees of freedom (an inverse chi-square prior, as in Smyth,
    Stat. Appl. Genet. Mol. Biol. 3, 2004). Sums of squares of each kin's rows within groups and cells are set
    equal to their expectations; before, each is held against that of all others by a two-sided F test at 5 %,
    adjusted for their number.
    """
    kin = kin_of(of)
    kins = int(kin.max()) + 1
    if kins < 2 or int(of.unit.max()) >= _MOST_UNITS:
        return None
    squares, known, held, freedom = _sums_by_kin(of, kin, own)
    # Where kins can only be told by their differences from each other, both sums are one and the same.
    if freedom.min() < 1 - _TINY or np.linalg.cond(held) > _SINGULAR:
        return None
    alike = held.sum(axis=1)
    others, beside = squares.sum() - squares, freedom.sum() - freedom
    ratio = (squares / alike) / np.maximum(others / (alike.sum() - alike), _HAIR)
    tail = np.minimum(special.fdtrc(freedom, beside, ratio), special.fdtr(freedom, beside, ratio))
    clear = bool(2 * tail.min() * (kins if kins > 2 else 1) <= _UNLIKE)
    if not clear and freedom.min() >= _TELLING:
        return None
    unit = np.maximum(np.linalg.solve(held, squares - known), 0.0)
    freedom = np.maximum(freedom, 1.0)
    if clear:
        return kin, unit, freedom, True
    common = max(float((squares - known).sum() / held.sum()), 0.0)
    return kin, (_LENT * common + freedom * unit) / (_LENT + freedom), freedom + _LENT, False


def _sums_by_kin(of: Readings, kin: Codes, own: Own) -> tuple[Floats, Floats, Floats, Floats]:
    """Each kin's sum of squares, its noise, how much of each kin's variance it holds, and its freedom."""
    parted = of.design.kins()
    maker, row, kins = parted.maker, kin[of.unit], parted.freedom.size
    noise = maker**2 @ of.noise
    if own.variance > 0:
        noise += own.variance * np.sum((maker @ one_hot(of.pair)) ** 2, axis=1)
    squares, known = np.zeros(kins), np.zeros(kins)
    np.add.at(squares, row, (maker @ of.mean) ** 2)
    np.add.at(known, row, noise)
    return squares, known, parted.held, parted.freedom


def _within_groups(of: Readings) -> _Sum:
    """The sum of squares that groups and cells leave."""
    design = of.design
    apart = less_means(of.mean[:, None], of.group)[:, 0]
    apart = apart - design.basis @ (design.basis.T @ apart)
    freedom = float(of.mean.size - design.groups - design.basis.shape[1])
    return _Sum(float(apart @ apart), float(of.noise @ design.share), *design.within_groups, freedom)


def _within_units(of: Readings, columns: Floats) -> _Sum:
    """The sum of squares that units and the columns leave."""
    size = np.bincount(of.unit).astype(float)
    basis = span(less_means(columns, of.unit))
    apart = less_means(of.mean[:, None], of.unit)[:, 0]
    apart = apart - basis @ (basis.T @ apart)
    share = 1 - 1 / size[of.unit] - np.sum(basis**2, axis=1)
    unit, own = (held_beside(codes, of.unit, basis) for codes in (of.unit, of.pair))
    freedom = float(of.mean.size - size.size - basis.shape[1])
    return _Sum(float(apart @ apart), float(of.noise @ share), unit, own, freedom)


def _within_cells(of: Readings) -> _Sum:
    """The sum of squares about the cells' own means."""
    size = np.bincount(of.cell).astype(float)
    apart = of.mean - (np.bincount(of.cell, of.mean) / size)[of.cell]
    noise = float(of.noise @ (1 - 1 / size[of.cell]))
    unit, own, _ = of.design.within_cells
    return _Sum(float(apart @ apart), noise, unit, own, float(of.mean.size - size.size))


def _freedom_of_units(of: Readings, rows: float) -> float:
    """Degrees of freedom of the sum of squares within groups as a word on units, some of many rows."""
    units = of.design.units
    if units == of.unit.size or units > _MOST_UNITS:
        return rows
    return min(of.design.freedom_of_units, rows)

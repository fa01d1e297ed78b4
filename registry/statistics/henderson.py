"""How much units and groups scatter, from sums of squares within groups and cells, and within cells.

Henderson's third method (C. R. Henderson, Biometrics 9, 1953): sums of squares are set equal to their
expectations, whatever the unbalance, units read once or in several cells and groups. Tables of one design are
worked out side by side.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from registry.statistics.crossed import CERTAIN
from registry.statistics.designs import Codes, held_beside, less_means, one_hot, span
from registry.statistics.kins import TINY
from registry.statistics.robust import Floats
from registry.statistics.tables import Tables

_HAIR = 1e-300
# Beyond so many units what one of them weighs more than another no longer matters to what is known.
MOST_UNITS = 500
_UNLIKE = 0.05
# With fewer degrees of freedom even a spread four times as large often passes the test of being unlike.
TELLING = 4.5
# For how many degrees of freedom the common spread counts in that of a kin that can tell little by itself:
# found by simulation, where intervals of two or three units hold what they say.
_LENT = 0.5
SINGULAR = 1e9


@dataclass(frozen=True)
class Own:
    """What units change by from cell to cell beyond what cells do: a variance a table, and how well known."""

    variance: Floats
    freedom: float


def nothing_of_their_own(of: Tables) -> Own:
    """Where units change from cell to cell as cells do."""
    return Own(np.zeros(of.random.size), CERTAIN)


@dataclass(frozen=True)
class Spread:
    """How much units and groups scatter, a row a table.

    Units that are read in the same cells are of one kin, whose code `kin` gives for each unit; all are of one
    unless kins clearly differ (`unlike`), or one is too small for that to show. `unit` holds a variance a kin
    and `unit_freedom` to how many degrees of freedom each is known (infinite, of a variance of nought, for a
    kin that no unit is of); `group` one variance a group. `own` is what units have of their own in a cell.
    """

    kin: Codes
    unit: Floats
    unit_freedom: Floats
    own: Floats
    own_freedom: float
    group: Floats
    group_freedom: Floats
    unlike: NDArray[np.bool_]

    def some(self, places: Codes) -> "Spread":
        """That of some of the tables."""
        mine = {name: getattr(self, name)[places] for name in _BY_TABLE}
        return Spread(own_freedom=self.own_freedom, **mine)

    def table(self, place: int) -> "Spread":
        """That of one table, without the axis for tables."""
        mine = {name: getattr(self, name)[place] for name in _BY_TABLE}
        return Spread(own_freedom=self.own_freedom, **mine)

    @property
    def of_unit(self) -> Floats:
        """The variance between units as it is for each unit."""
        return np.take_along_axis(self.unit, self.kin, axis=1)


_BY_TABLE = ("kin", "unit", "unit_freedom", "own", "group", "group_freedom", "unlike")


@dataclass(frozen=True)
class _Sum:
    """A sum of squares a table, what noise puts into it, and how much of each variance it holds."""

    squares: Floats
    noise: Floats
    unit: float
    own: float
    freedom: float

    def left(self, own: Own) -> Floats:
        """What neither noise nor what units have of their own in cells accounts for."""
        return self.squares - self.noise - own.variance * self.own


def own_spread(of: Tables) -> Own | None:
    """How much a unit changes from cell to cell beyond what all units do; None where nothing tells it.

    From the sum of squares within units, cells and groups. Where every unit is read once in either of two
    cells this is the paired t test's.
    """
    again = (np.bincount(of.design.unit) > 1)[of.design.unit]
    if not again.all():
        of = of.only(again)
    design = of.design
    cells = one_hot(design.cell)
    found = _within_units(of, np.column_stack([one_hot(design.group), cells]))
    between = span(less_means(cells[:, 1:], design.unit)).shape[1]
    freedom = min(found.freedom, int(design.pair.max()) - int(design.unit.max()) - between)
    if freedom < 1 or found.own <= TINY:
        return None
    return Own(np.maximum((found.squares - found.noise) / found.own, 0.0), float(freedom))


def spread(of: Tables, own: Own) -> Spread | None:
    """Variances between units and between groups; None where nothing tells how much units scatter."""
    within, overall = _within_groups(of), _within_cells(of)
    one = np.zeros((of.random.size, of.design.units), np.intp)
    alike = np.zeros(of.random.size, bool)
    if within.freedom > 0 and within.unit > TINY:
        unit = np.maximum(within.left(own) / within.unit, 0.0)[:, None]
        known = max(min(_freedom_of_units(of, within.freedom), float(of.design.units_free)), 1.0)
        kin, unit, freedom, alike = _parted(of, own, unit, known)
        group, group_freedom = _of_groups(of, overall, own, np.take_along_axis(unit, kin, axis=1))
        return Spread(kin, unit, freedom, own.variance, own.freedom, group, group_freedom, alike)
    if overall.freedom <= 0 or overall.unit <= TINY:
        return None
    # Each group has one unit a cell at most: what is not the gauges' by their own word is the units'.
    leaning = of.leaning
    gauges = leaning @ of.design.by_group
    unit = np.maximum((overall.left(own) - gauges) / overall.unit, 0.0)[:, None]
    freedom, certain = np.full_like(unit, overall.freedom), np.full(of.random.size, CERTAIN)
    return Spread(one, unit, freedom, own.variance, own.freedom, leaning, certain, alike)


def _of_groups(of: Tables, overall: _Sum, own: Own, unit: Floats) -> tuple[Floats, Floats]:
    """A variance a group, no less than its gauge declares, and its degrees of freedom."""
    design = of.design
    leaning, held = of.leaning, design.within_cells[2]
    told = design.groups + design.basis.shape[1] - design.cells if held > TINY else 0
    estimated = np.zeros(of.random.size)
    if told > 0:
        estimated = np.maximum((overall.left(own) - unit @ design.by_unit) / held, 0.0)
    group = np.maximum(leaning, estimated[:, None])
    return group, freedom_of_groups(estimated, leaning.mean(axis=1), group.mean(axis=1), told)


def freedom_of_groups(estimated: Floats, declared: Floats, group: Floats, told: Floats | float) -> Floats:
    """Degrees of freedom of the variance between groups, of which `told` tell, given the mean variance that
    gauges declare and the mean that is reckoned with: a value a table."""
    # Up to what gauges declare it counts as known; only what is seen beyond that has to be estimated.
    seen = np.maximum(estimated - declared, 0.0) / np.maximum(group, _HAIR)
    return np.asarray(np.where(seen > 0, told / np.where(seen > 0, seen, 1.0) ** 2, CERTAIN))


def _parted(
    of: Tables, own: Own, common: Floats, known: float
) -> tuple[Codes, Floats, Floats, NDArray[np.bool_]]:
    """The kin of each unit, a variance a kin with its degrees of freedom, and whether kins clearly differ.

    All are of one kin, with the `common` variance `known` to so many degrees of freedom, where kins scatter
    alike as far as can be told, or where one of them cannot tell at all. A kin of few
    degrees of freedom could hardly show that it scatters otherwise, so all then count with their own spread,
    drawn towards the common one as by `_LENT` degrees of freedom (an inverse chi-square prior, as in Smyth,
    Stat. Appl. Genet. Mol. Biol. 3, 2004). Sums of squares of each kin's rows within groups and cells are set
    equal to their expectations; before, each is held against that of all others by a two-sided F test at 5 %,
    adjusted for their number.
    """
    tables, kin = of.random.size, of.design.kin
    kins = int(kin.max()) + 1
    one = np.zeros((tables, kin.size), np.intp)
    alone = one, common, np.full_like(common, known), np.zeros(tables, bool)
    if kins < 2 or of.design.units > MOST_UNITS:
        return alone
    sums = of.design.kins
    held, freedom = sums.told
    # Where kins can only be told by their differences from each other, both sums are one and the same.
    if freedom.min() < 1 - TINY or np.linalg.cond(held) > SINGULAR:
        return alone
    squares = _beside_groups(of) ** 2 @ sums.of_kin
    left = squares - of.noise @ sums.of_noise - own.variance[:, None] * sums.of_own
    clear = clearly_unlike(squares, held.sum(axis=1), freedom)
    parted = clear if freedom.min() >= TELLING else np.ones(tables, bool)
    unit, freedom = own_spreads(left, held, freedom, clear)
    first = np.arange(kins) == 0
    return (
        np.where(parted[:, None], kin, one),
        np.where(parted[:, None], unit, first * common),
        np.where(parted[:, None], freedom, np.where(first, known, np.inf)),
        clear,
    )


def clearly_unlike(squares: Floats, held: Floats, freedom: Floats) -> NDArray[np.bool_]:
    """Whether kins' sums of squares differ by F tests at 5 %, each against all others.

    `squares` are tables by kins; `held` and `freedom` likewise, or have one value a kin.
    """
    kins = freedom.shape[-1]
    others, beside = (of.sum(axis=-1, keepdims=True) - of for of in (squares, freedom))
    ratio = (squares / held) / np.maximum(others / (held.sum(axis=-1, keepdims=True) - held), _HAIR)
    tail = np.minimum(special.fdtrc(freedom, beside, ratio), special.fdtr(freedom, beside, ratio))
    clear: NDArray[np.bool_] = 2 * tail.min(axis=1) * (kins if kins > 2 else 1) <= _UNLIKE
    return clear


def own_spreads(
    left: Floats, held: Floats, freedom: Floats, clear: NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """Each kin's own variance and degrees of freedom; drawn towards the common one unless clearly unlike.

    `held` and `freedom` are the same for all tables, or have an axis for them in front.
    """
    unit = np.maximum(np.linalg.solve(held, left[:, :, None])[:, :, 0], 0.0)
    freedom = np.maximum(freedom, 1.0)
    common = np.maximum(left.sum(axis=1) / held.sum(axis=(-2, -1)), 0.0)[:, None]
    lent = (_LENT * common + freedom * unit) / (_LENT + freedom)
    of_clear = clear[:, None]
    return np.where(of_clear, unit, lent), np.where(of_clear, freedom, freedom + _LENT)


def _within_groups(of: Tables) -> _Sum:
    """The sum of squares that groups and cells leave."""
    design, apart = of.design, _beside_groups(of)
    freedom = float(of.mean.shape[1] - design.groups - design.basis.shape[1])
    return _Sum((apart**2).sum(axis=1), of.noise @ design.share, *design.within_groups, freedom)


def _beside_groups(of: Tables) -> Floats:
    """What groups and cells leave of each reading."""
    design = of.design
    by_group = design.by_group_sums
    apart = of.mean - (by_group(of.mean) / by_group.size)[:, design.group]
    return np.asarray(apart - (apart @ design.basis) @ design.basis.T)


def _within_units(of: Tables, columns: Floats) -> _Sum:
    """The sum of squares that units and the columns leave."""
    design = of.design
    by_unit = design.by_unit_sums
    basis = span(less_means(columns, design.unit))
    apart = of.mean - (by_unit(of.mean) / by_unit.size)[:, design.unit]
    apart = apart - (apart @ basis) @ basis.T
    share = 1 - 1 / by_unit.size[design.unit] - np.sum(basis**2, axis=1)
    unit, own = (held_beside(codes, design.unit, basis) for codes in (design.unit, design.pair))
    freedom = float(of.mean.shape[1] - design.units - basis.shape[1])
    return _Sum((apart**2).sum(axis=1), of.noise @ share, unit, own, freedom)


def _within_cells(of: Tables) -> _Sum:
    """The sum of squares about the cells' own means."""
    design = of.design
    by_cell = design.by_cell_sums
    apart = of.mean - (by_cell(of.mean) / by_cell.size)[:, design.cell]
    noise = of.noise @ (1 - 1 / by_cell.size[design.cell])
    unit, own, _ = design.within_cells
    return _Sum((apart**2).sum(axis=1), noise, unit, own, float(of.mean.shape[1] - design.cells))


def _freedom_of_units(of: Tables, rows: float) -> float:
    """Degrees of freedom of the sum of squares within groups as a word on units, some of many rows."""
    units = of.design.units
    if units == of.design.unit.size or units > MOST_UNITS:
        return rows
    return min(of.design.freedom_of_units, rows)

"""Old against new at many settings, reduced to what any question about the difference is judged by.

What a margin, a family of settings and a level of confidence decide does not go into a fit. So a fit is
reduced to the values, what they hold of each variance, and how well variances are known: a few dozen numbers.
Those of any weighted sum of old and new follow from the ones of old, of new and of their difference.
"""

from dataclasses import dataclass, field
from functools import cached_property
from math import prod

import numpy as np

from registry.statistics.designs import Codes
from registry.statistics.differences import Fits
from registry.statistics.estimates import Estimates, Known, Parts, estimated
from registry.statistics.robust import Floats
from registry.statistics.strata import Contrasts, contrasts_of, unlike

OLD, NEW, DIFFERENCE = range(3)
# Old and new are each of one build, so that units are of two kins at the most.
_KINS = 2
_SWAPPED = (1, 0, 2)
# The shape of each figure of one setting, in the order of a table's columns.
SHAPES: dict[str, tuple[int, ...]] = {
    "value": (3,),
    "parts": (3, 3 * _KINS + 2),
    "unit_variance": (_KINS,),
    "unit_freedom": (_KINS,),
    "own_freedom": (),
    "group_freedom": (),
    "between": (2,),
    "between_freedom": (2,),
    "run": (),
    "strata": (),
    "unlike": (),
    "aside": (),
}
_ENDS = np.cumsum([prod(shape) for shape in SHAPES.values()]).tolist()
WIDTH = _ENDS[-1]
_COLUMNS = {
    name: slice(end - prod(shape), end) for (name, shape), end in zip(SHAPES.items(), _ENDS, strict=True)
}


def _turned() -> tuple[Codes, Floats]:
    """Where each column of a table comes from with old for new, and whether it changes its sign."""
    came_from, sign = np.arange(WIDTH), np.ones(WIDTH)
    for name in ("value", "parts", "between", "between_freedom"):
        columns = came_from[_COLUMNS[name]].reshape(SHAPES[name][0], -1)
        came_from[_COLUMNS[name]] = columns[list(_SWAPPED[: len(columns)])].ravel()
    sign[_COLUMNS["value"]][DIFFERENCE] = -1.0
    return came_from, sign


_TURNED, _SIGN = _turned()


@dataclass(frozen=True)
class Contrasted:
    """A row a setting, all in the columns of one `table`. `value` and `parts` have an axis for old, new and
    their difference; along the last one of `parts` lie those of `Parts`, kin by kin.

    `between` is the variance between units of old and of new, `between_freedom` how well each is known, `run`
    the mean noise of a reading; `strata` the p-value of strata's differing, NaN where there is one; `unlike`
    is 1 where units of either side clearly scatter otherwise, `aside` how many wild units were set aside.
    """

    table: Floats
    value: Floats = field(init=False)
    parts: Floats = field(init=False)
    unit_variance: Floats = field(init=False)
    unit_freedom: Floats = field(init=False)
    own_freedom: Floats = field(init=False)
    group_freedom: Floats = field(init=False)
    between: Floats = field(init=False)
    between_freedom: Floats = field(init=False)
    run: Floats = field(init=False)
    strata: Floats = field(init=False)
    unlike: Floats = field(init=False)
    aside: Floats = field(init=False)

    def __post_init__(self) -> None:
        """Name the columns."""
        for name, shape in SHAPES.items():
            columns = self.table[:, _COLUMNS[name]]
            object.__setattr__(self, name, columns.reshape(self.table.shape[0], *shape))

    @property
    def old(self) -> Estimates:
        """The old values."""
        return self._estimated(OLD)

    @property
    def new(self) -> Estimates:
        """The new values."""
        return self._estimated(NEW)

    @property
    def difference(self) -> Estimates:
        """New less old."""
        return self._estimated(DIFFERENCE)

    def beyond(self, share: Floats | float) -> Estimates:
        """New less (1 + share) times old; `share` is one for all or one a row."""
        by = np.broadcast_to(np.asarray(share, float), self.run.shape)
        m, of = by[:, None], self.parts
        cross = of[:, NEW] - of[:, OLD] - of[:, DIFFERENCE]
        parts = np.maximum(of[:, DIFFERENCE] - m * cross + m**2 * of[:, OLD], 0.0)
        return estimated(self.value[:, DIFFERENCE] - by * self.value[:, OLD], _named(parts), self._known)

    def some(self, places: Codes) -> "Contrasted":
        """Some of the settings."""
        return Contrasted(self.table[places])

    def reversed(self) -> "Contrasted":
        """The same with old for new."""
        return Contrasted(self.table[:, _TURNED] * _SIGN + 0.0)  # no difference is never told as -0.0

    @property
    def _known(self) -> Known:
        return Known(self.unit_variance, self.unit_freedom, self.own_freedom, self.group_freedom)

    @cached_property
    def _estimates(self) -> Estimates:
        """Those of all three, side by side."""
        return estimated(self.value, _named(self.parts), self._known.beside())

    def _estimated(self, which: int) -> Estimates:
        of = self._estimates
        return Estimates(of.value[:, which], of.error[:, which], of.freedom[:, which])


def _named(parts: Floats) -> Parts:
    """What lies side by side along the last axis."""
    unit, share, noise = (parts[..., start : start + _KINS] for start in range(0, 3 * _KINS, _KINS))
    return Parts(unit, share, noise, parts[..., -2], parts[..., -1])


def contrasted(found: Fits, of: Contrasts | None = None) -> Contrasted:
    """Reduce fits whose cells are old and new of each stratum in turn; two kins of units at the most."""
    of = contrasts_of(found) if of is None else of
    rows = (of.old, of.new, of.difference)
    known, between = found.known, [found.between_units(cell) for cell in (0, 1)]

    def side_by_side(of: Parts) -> Floats:
        by_kin = (_widened(one, 0.0) for one in (of.unit, of.share, of.noise))
        return np.concatenate([*by_kin, of.own[:, None], of.group[:, None]], axis=1)

    figures = {
        "value": np.stack([found.sums(one) for one in rows], axis=1),
        "parts": np.stack([side_by_side(found.parts(one)) for one in rows], axis=1),
        "unit_variance": _widened(known.unit, 0.0),
        "unit_freedom": _widened(known.unit_freedom, np.inf),
        "own_freedom": known.own_freedom,
        "group_freedom": known.group_freedom,
        "between": np.stack([unit for unit, _ in between], axis=1),
        "between_freedom": np.stack([freedom for _, freedom in between], axis=1),
        "run": found.tables.run,
        "strata": unlike(found, of),
        "unlike": found.spread.unlike.astype(float),
        "aside": found.aside,
    }
    size = figures["run"].size
    columns = [figures[name].reshape(size, prod(shape)) for name, shape in SHAPES.items()]
    return Contrasted(np.concatenate(columns, axis=1))


def _widened(values: Floats, filling: float) -> Floats:
    """With a place for either kin along the last axis."""
    missing = _KINS - values.shape[-1]
    if not missing:
        return values
    return np.concatenate([values, np.full((*values.shape[:-1], missing), filling)], axis=-1)

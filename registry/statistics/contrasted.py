"""Old against new at many settings, reduced to what any question about the difference is judged by.

What a margin, a family of settings and a level of confidence decide does not go into a fit. So a fit is
reduced to the values, what they hold of each variance, and how well variances are known: a few dozen numbers.
Those of any weighted sum of old and new follow from the ones of old, of new and of their difference.
"""

from collections.abc import Sequence
from dataclasses import dataclass
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


@dataclass(frozen=True)
class Contrasted:
    """A row a setting. `value` and each of the parts have an axis for old, new and their difference.

    `between` is the variance between units of old and of new, `between_freedom` how well each is known, `run`
    the mean noise of a reading; `strata` the p-value of strata's differing, NaN where there is one; `unlike`
    is 1 where units of either side clearly scatter otherwise, `aside` how many wild units were set aside.
    """

    value: Floats
    unit: Floats
    share: Floats
    noise: Floats
    own: Floats
    group: Floats
    unit_variance: Floats
    unit_freedom: Floats
    own_freedom: Floats
    group_freedom: Floats
    between: Floats
    between_freedom: Floats
    run: Floats
    strata: Floats
    unlike: Floats
    aside: Floats

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

        def form(of: Floats) -> Floats:
            m = by.reshape(by.shape + (1,) * (of.ndim - 2))
            cross = of[:, NEW] - of[:, OLD] - of[:, DIFFERENCE]
            return np.maximum(of[:, DIFFERENCE] - m * cross + m**2 * of[:, OLD], 0.0)

        parts = Parts(form(self.unit), form(self.share), form(self.noise), form(self.own), form(self.group))
        return estimated(self.value[:, DIFFERENCE] - by * self.value[:, OLD], parts, self._known)

    def some(self, places: Codes) -> "Contrasted":
        """Some of the settings."""
        return Contrasted(*(getattr(self, name)[places] for name in SHAPES))

    def reversed(self) -> "Contrasted":
        """The same with old for new."""
        turned = {
            name: getattr(self, name)[:, _SWAPPED] for name in ("unit", "share", "noise", "own", "group")
        }
        turned |= {name: getattr(self, name)[:, ::-1] for name in ("between", "between_freedom")}
        value = self.value[:, _SWAPPED] * (1.0, 1.0, -1.0) + 0.0  # no difference is never told as -0.0
        rest = {name: getattr(self, name) for name in SHAPES if name not in turned and name != "value"}
        return Contrasted(value=value, **turned, **rest)

    @cached_property
    def _known(self) -> Known:
        return Known(self.unit_variance, self.unit_freedom, self.own_freedom, self.group_freedom)

    def _estimated(self, which: int) -> Estimates:
        of = (self.unit, self.share, self.noise, self.own, self.group)
        return estimated(self.value[:, which], Parts(*(form[:, which] for form in of)), self._known)

    def packed(self) -> Floats:
        """All of it as a table, a row a setting."""
        size = self.run.size
        rows = [getattr(self, name).reshape(size, prod(shape)) for name, shape in SHAPES.items()]
        return np.concatenate(rows, axis=1)


# The shape of each figure of one setting.
SHAPES: dict[str, tuple[int, ...]] = {
    "value": (3,),
    "unit": (3, _KINS),
    "share": (3, _KINS),
    "noise": (3, _KINS),
    "own": (3,),
    "group": (3,),
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
WIDTH = sum(int(np.prod(shape)) for shape in SHAPES.values())


def unpacked(table: Floats) -> Contrasted:
    """What was packed into a table."""
    found, start = [], 0
    for shape in SHAPES.values():
        end = start + int(np.prod(shape))
        found.append(table[:, start:end].reshape(table.shape[0], *shape))
        start = end
    return Contrasted(*found)


def contrasted(found: Fits, of: Contrasts | None = None) -> Contrasted:
    """Reduce fits whose cells are old and new of each stratum in turn; two kins of units at the most."""
    of = contrasts_of(found) if of is None else of
    rows = (of.old, of.new, of.difference)
    parts = [found.parts(one) for one in rows]
    known, between = found.known, [found.between_units(cell) for cell in (0, 1)]

    def stacked(name: str) -> Floats:
        return np.stack([getattr(one, name) for one in parts], axis=1)

    return Contrasted(
        value=np.stack([found.sums(one) for one in rows], axis=1),
        unit=_widened(stacked("unit"), 0.0),
        share=_widened(stacked("share"), 0.0),
        noise=_widened(stacked("noise"), 0.0),
        own=stacked("own"),
        group=stacked("group"),
        unit_variance=_widened(known.unit, 0.0),
        unit_freedom=_widened(known.unit_freedom, np.inf),
        own_freedom=known.own_freedom,
        group_freedom=known.group_freedom,
        between=np.stack([unit for unit, _ in between], axis=1),
        between_freedom=np.stack([freedom for _, freedom in between], axis=1),
        run=found.tables.run,
        strata=unlike(found, of),
        unlike=found.spread.unlike.astype(float),
        aside=found.aside,
    )


def _widened(values: Floats, filling: float) -> Floats:
    """With a place for either kin along the last axis."""
    missing = _KINS - values.shape[-1]
    if not missing:
        return values
    return np.concatenate([values, np.full((*values.shape[:-1], missing), filling)], axis=-1)


def joined(several: Sequence[Contrasted]) -> Contrasted:
    """All rows of several, one after the other."""
    return unpacked(np.concatenate([one.packed() for one in several]))

"""How far units read from what other clinics read of the same build."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from registry.statistics.robust import Floats, middles


@dataclass(frozen=True)
class Near:
    """What some gauges read beside others: how far each unit is `apart` (a logarithm), and what of it.

    `left` is what is left of that where other clinics read the unit too, and `variances` are those of it
    where the gauges are sound.
    """

    apart: dict[int, float]
    left: Floats
    variances: Floats
    settings: int
    runs: int
    builds: int
    clinics: int


class Beside:
    """A table of pairs, ready to be asked about one gauge after the other."""

    def __init__(self, pairs: pd.DataFrame, spreads: Floats, again: float) -> None:
        """`spreads` are between units, one a row; `again` is what a unit reads otherwise at another bench."""
        self._variances, self._again = spreads**2, again**2
        self._columns = {name: pairs[name].to_numpy() for name in pairs.columns}
        builds, self._columns["build"] = np.unique(self._columns["build"], return_inverse=True)
        self._of_gauge, self._of_build = (_rows_of(self._columns[name]) for name in ("gauge", "build"))
        self.rows, self.builds = len(pairs), builds.size
        self._travels = len(pairs[["unit", "clinic"]].drop_duplicates()) > pairs["unit"].nunique()

    def of(self, gauges: Collection[int], off: Collection[int]) -> Near:
        """What the gauges read beside other clinics' gauges, leaving out those that are `off`."""
        at = self._columns
        mine = np.concatenate([self._of_gauge[gauge] for gauge in gauges if gauge in self._of_gauge])
        builds = np.unique(at["build"][mine])
        rows = np.concatenate([self._of_build[build] for build in builds])
        elsewhere = ~np.isin(at["clinic"][rows], at["clinic"][mine]) & ~np.isin(at["gauge"][rows], list(off))
        sound = rows[elsewhere]
        read, code = np.unique(at["build"][sound], return_inverse=True)
        middle, others = np.full(self.builds, np.nan), np.ones(self.builds)
        middle[read], others[read] = middles(at["apart"][sound], code), np.bincount(code)
        mine = mine[np.isfinite(middle[at["build"][mine]])]
        units, code = np.unique(at["unit"][mine], return_inverse=True)
        means = np.bincount(code, at["apart"][mine] - middle[at["build"][mine]]) / np.bincount(code)
        # A median needs pi/2 of a mean's variance.
        variances = self._variances[mine] * (1 + np.pi / 2 / others[at["build"][mine]])
        variances = np.bincount(code, variances) / np.bincount(code)
        left, variances = self._left(units, means, variances, (sound, middle))
        return Near(
            apart=dict(zip(units.tolist(), means.tolist(), strict=True)),
            left=left,
            variances=variances,
            settings=int(at["settings"][mine].sum()),
            runs=int(at["runs"][mine].sum()) if "runs" in at else 0,
            builds=builds.size,
            clinics=int(np.unique(at["clinic"][sound]).size),
        )

    def _left(
        self,
        units: NDArray[np.int64],
        means: Floats,
        variances: Floats,
        elsewhere: tuple[NDArray[np.intp], Floats],
    ) -> tuple[Floats, Floats]:
        """What is left of units' means by what other clinics read of the same units, and its variances.

        One that stands far out there as well varies by as much, so that hardly anything of it is left.
        """
        if not self._travels:
            return means, variances
        (rows, middle), at = elsewhere, self._columns
        rows = rows[np.isin(at["unit"][rows], units)]
        code = np.searchsorted(units, at["unit"][rows])
        times = np.bincount(code, minlength=units.size)
        apart = at["apart"][rows] - middle[at["build"][rows]]
        theirs = np.bincount(code, apart, minlength=units.size) / np.maximum(times, 1)
        own = np.maximum(variances, theirs**2)
        share = own / (own + self._again / np.maximum(times, 1)) * (times > 0)
        return means - share * theirs, own * (1 - share) + self._again * (times > 0)


def _rows_of(keys: NDArray[np.int64]) -> dict[int, NDArray[np.intp]]:
    """The rows of each key, in order."""
    found, first = np.unique(np.sort(keys), return_index=True)
    return dict(zip(found.tolist(), np.split(np.argsort(keys, kind="stable"), first[1:]), strict=True))

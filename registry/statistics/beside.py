"""How far units read from what other clinics read of the same build."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from registry.statistics.robust import middles


@dataclass(frozen=True)
class Near:
    """What some gauges read beside others: how far each unit is `apart` (a logarithm), and what of it."""

    apart: dict[int, float]
    settings: int
    runs: int
    builds: int
    clinics: int


class Beside:
    """A table of pairs, ready to be asked about one gauge after the other."""

    def __init__(self, pairs: pd.DataFrame) -> None:
        self._columns = {name: pairs[name].to_numpy() for name in pairs.columns}
        self._of_gauge, self._of_build = (_rows_of(self._columns[name]) for name in ("gauge", "build"))
        self.rows, self.builds = len(pairs), len(self._of_build)

    def of(self, gauges: Collection[int], off: Collection[int]) -> Near:
        """What the gauges read beside other clinics' gauges, leaving out those that are `off`."""
        at = self._columns
        mine = np.concatenate([self._of_gauge[gauge] for gauge in gauges if gauge in self._of_gauge])
        builds = np.unique(at["build"][mine])
        rows = np.concatenate([self._of_build[build] for build in builds])
        elsewhere = ~np.isin(at["clinic"][rows], at["clinic"][mine]) & ~np.isin(at["gauge"][rows], list(off))
        sound = rows[elsewhere]
        read, code = np.unique(at["build"][sound], return_inverse=True)
        middle = np.full(builds.size, np.nan)
        middle[np.searchsorted(builds, read)] = middles(at["apart"][sound], code)
        apart = at["apart"][mine] - middle[np.searchsorted(builds, at["build"][mine])]
        known = np.isfinite(apart)
        units, code = np.unique(at["unit"][mine][known], return_inverse=True)
        means = np.bincount(code, apart[known]) / np.bincount(code)
        return Near(
            apart=dict(zip(units.tolist(), means.tolist(), strict=True)),
            settings=int(at["settings"][mine].sum()),
            runs=int(at["runs"][mine].sum()) if "runs" in at else 0,
            builds=builds.size,
            clinics=int(np.unique(at["clinic"][sound]).size),
        )


def _rows_of(keys: NDArray[np.int64]) -> dict[int, NDArray[np.intp]]:
    """The rows of each key, in order."""
    found, first = np.unique(np.sort(keys), return_index=True)
    return dict(zip(found.tolist(), np.split(np.argsort(keys, kind="stable"), first[1:]), strict=True))

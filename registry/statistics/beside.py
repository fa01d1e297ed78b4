"""How far units read from what other clinics read of the same build."""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd


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
        self._of_gauge = pairs.groupby("gauge").indices
        self._of_build = pairs.groupby("build").indices
        self.rows, self.builds = len(pairs), len(self._of_build)

    def of(self, gauges: Collection[int], off: Collection[int]) -> Near:
        """What the gauges read beside other clinics' gauges, leaving out those that are `off`."""
        at = self._columns
        mine = np.concatenate([self._of_gauge[gauge] for gauge in gauges if gauge in self._of_gauge])
        builds = np.unique(at["build"][mine])
        rows = np.concatenate([self._of_build[build] for build in builds])
        elsewhere = ~np.isin(at["clinic"][rows], at["clinic"][mine]) & ~np.isin(at["gauge"][rows], list(off))
        sound = rows[elsewhere]
        middle = pd.Series(at["apart"][sound]).groupby(at["build"][sound]).median()
        apart = at["apart"][mine] - middle.reindex(at["build"][mine]).to_numpy(float)
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

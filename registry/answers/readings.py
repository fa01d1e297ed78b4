"""From a table of unit summaries to what comparisons are worked out from."""

from collections.abc import Collection

import numpy as np
import pandas as pd

from registry.statistics.differences import Readings

UNDECLARED = -1


def readings_of(rows: pd.DataFrame, fixed: Collection[int] = ()) -> Readings:
    """The rows of one setting and metric as readings; `rows` is a `summary_frame` with a column `cell`.

    A group is one gauge of one clinic. A gauge nobody declared is never taken for the same one in two cells,
    so it cannot make a clinic its own control. `fixed` are keys of units that are themselves asked about.
    """
    undeclared = np.where(rows["gauge"] == UNDECLARED, rows["cell"], -1)
    group = pd.MultiIndex.from_arrays([rows["clinic"], rows["gauge"], undeclared]).factorize()[0]
    unit, units = pd.factorize(rows["unit"])
    runs = rows["runs"].to_numpy(float)
    random = rows["random"].to_numpy(float)
    asked = np.flatnonzero(np.isin(np.asarray(units), list(fixed)))
    return Readings(
        cell=rows["cell"].to_numpy(np.intp),
        unit=unit,
        group=group,
        mean=rows["mean"].to_numpy(float),
        runs=runs,
        systematic=rows["systematic"].to_numpy(float),
        random=float(((random**2 * runs).sum() / runs.sum()) ** 0.5),
        squares=float(rows["squares"].sum()),
        freedom=int((rows["runs"] - 1).sum()),
        fixed=asked if asked.size else None,
    )


def typical(rows: pd.DataFrame) -> float:
    """The median of unit means, each clinic and gauge that read a unit counting once."""
    return float(rows.groupby("unit")["mean"].mean().median())

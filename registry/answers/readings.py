"""From a table of unit summaries to what comparisons are worked out from."""

from collections.abc import Collection

import numpy as np
import pandas as pd

from registry.statistics.crossed import Readings

UNDECLARED = -1


def readings_of(rows: pd.DataFrame, fixed: Collection[int] = ()) -> Readings:
    """The rows of one setting and metric as readings; `rows` is a `summary_frame` with a column `cell`.

    A group is one gauge of one clinic. A gauge nobody declared is never taken for the same one in two cells,
    so it cannot make a clinic its own control. `fixed` are keys of units that are themselves asked about.
    """
    cell, gauge = rows["cell"].to_numpy(np.int64), rows["gauge"].to_numpy(np.int64)
    # Clinic and gauge in one number; what reads a cell without a declared gauge is counted from -1 down.
    apart = np.where(gauge == UNDECLARED, -1 - cell, gauge)
    group = pd.factorize(rows["clinic"].to_numpy(np.int64) * 2**32 + apart)[0]
    unit, units = pd.factorize(rows["unit"].to_numpy())
    runs = rows["runs"].to_numpy(float)
    random = rows["random"].to_numpy(float)
    asked = np.flatnonzero(np.isin(units, list(fixed))) if fixed else np.zeros(0, np.intp)
    return Readings(
        cell=cell.astype(np.intp),
        unit=unit,
        group=group,
        mean=rows["mean"].to_numpy(float),
        runs=runs,
        systematic=rows["systematic"].to_numpy(float),
        random=float(((random**2 * runs).sum() / runs.sum()) ** 0.5),
        squares=float(rows["squares"].to_numpy(float).sum()),
        freedom=int(runs.sum()) - runs.size,
        fixed=asked if asked.size else None,
    )


def typical(rows: pd.DataFrame) -> float:
    """The median of unit means, each clinic and gauge that read a unit counting once."""
    return float(rows.groupby("unit")["mean"].mean().median())

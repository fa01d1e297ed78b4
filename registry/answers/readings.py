"""From unit summaries to what comparisons are worked out from."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.answers.blocks import Block, together
from registry.answers.packing import COLUMNS, UNDECLARED
from registry.statistics.crossed import Readings


def readings_in(
    cells: Sequence[Sequence[Block]], fixed: Collection[int] = (), build: Sequence[int] | None = None
) -> Readings:
    """Return the blocks of one setting and metric as readings, given cell by cell.

    A group is one gauge of one clinic. A gauge nobody declared is never taken for the same one in two cells,
    so it cannot make a clinic its own control. `fixed` are keys of units that are themselves asked about;
    `build` is as in `Readings`.
    """
    size = [sum(block.mean.size for block in blocks) for blocks in cells]
    blocks = [block for of_cell in cells for block in of_cell]
    columns = {name: together(blocks, name) for name in COLUMNS}
    made = _readings(np.repeat(np.arange(len(size)), size), columns, fixed)
    return made if build is None else replace(made, build=np.asarray(build, np.intp))


def _readings(cell: NDArray[np.intp], of: Mapping[str, Any], fixed: Collection[int]) -> Readings:
    # In one order, so that values which the same units gave by the same gauges are of one design.
    order = np.lexsort((of["gauge"], of["clinic"], of["unit"], cell))
    cell, of = cell[order], {name: column[order] for name, column in of.items()}
    # Clinic and gauge in one number; what reads a cell without a declared gauge is counted from -1 down.
    apart = np.where(of["gauge"] == UNDECLARED, -1 - cell, of["gauge"])
    group = np.unique(of["clinic"] * 2**32 + apart, return_inverse=True)[1]
    units, unit = np.unique(of["unit"], return_inverse=True)
    runs = of["runs"].astype(float)
    asked = np.flatnonzero(np.isin(units, list(fixed))) if fixed else np.zeros(0, np.intp)
    return Readings(
        cell=cell,
        unit=unit,
        group=group,
        mean=of["mean"],
        runs=runs,
        systematic=of["systematic"],
        random=float(((of["random"] ** 2 * runs).sum() / runs.sum()) ** 0.5),
        squares=float(of["squares"].sum()),
        freedom=int(runs.sum()) - runs.size,
        fixed=asked if asked.size else None,
    )

"""From unit summaries to what comparisons are worked out from."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.answers.blocks import Block, together
from registry.answers.packing import UNDECLARED
from registry.statistics.crossed import Readings
from registry.statistics.designs import Codes, Design, design_of
from registry.statistics.robust import Floats
from registry.statistics.tables import Tables, joined

_VALUES = ("runs", "mean", "squares", "random", "systematic")
# The blocks of one setting and metric, cell by cell.
Cells = Sequence[Sequence[Block]]


def readings_in(cells: Cells, fixed: Collection[int] = (), build: Sequence[int] | None = None) -> Readings:
    """Return the blocks of one setting and metric as readings, given cell by cell.

    A group is one gauge of one clinic. A gauge nobody declared is never taken for the same one in two cells,
    so it cannot make a clinic its own control. `fixed` are keys of units that are themselves asked about;
    `build` is as in `Readings`.
    """
    ((_, tables),) = tables_in([cells], fixed, build)
    return tables.table(0)


def tables_in(
    several: Sequence[Cells], fixed: Collection[int] = (), build: Sequence[int] | None = None
) -> list[tuple[Codes, Tables]]:
    """The blocks of many settings as tables side by side, those of one design together, with their places.

    All of them have as many cells; else as `readings_in`.
    """
    alike: dict[tuple[bytes, ...], list[int]] = defaultdict(list)
    for place, cells in enumerate(several):
        alike[_who(cells)].append(place)
    found: dict[tuple[int, bytes], list[tuple[list[int], Tables]]] = defaultdict(list)
    for places in alike.values():
        of = _arranged(several[places[0]], fixed, build)
        made = _tables(of, [several[place] for place in places])
        found[id(of.design), b"" if of.fixed is None else of.fixed.tobytes()].append((places, made))
    return [
        (np.array([place for places, _ in parts for place in places]), joined([made for _, made in parts]))
        for parts in found.values()
    ]


def sound_rows(block: Block, wild: Codes) -> NDArray[np.bool_]:
    """The rows of a block that a fit of it alone kept, given the codes of the units it set aside."""
    marks: NDArray[np.bool_] = ~np.isin(np.unique(block.unit, return_inverse=True)[1], wild)
    return marks


def _who(cells: Cells) -> tuple[bytes, ...]:
    """Who read what in which cell; blocks of one cell are parted as they are."""
    return tuple([who for blocks in cells for who in (*[block.who for block in blocks], b"|")])


@dataclass(frozen=True)
class _Arranged:
    """How rows of some cells lie in a table: their order and design, and which units are asked about."""

    order: Codes
    design: Design
    fixed: Codes | None


def _arranged(cells: Cells, fixed: Collection[int], build: Sequence[int] | None) -> _Arranged:
    size = [sum(block.mean.size for block in blocks) for blocks in cells]
    blocks = [block for of_cell in cells for block in of_cell]
    cell = np.repeat(np.arange(len(size)), size)
    unit, clinic, gauge = (together(blocks, name) for name in ("unit", "clinic", "gauge"))
    # In one order, so that values which the same units gave by the same gauges are of one design.
    order = np.lexsort((gauge, clinic, unit, cell))
    cell, clinic, gauge = cell[order], clinic[order], gauge[order]
    # Clinic and gauge in one number; what reads a cell without a declared gauge is counted from -1 down.
    key = clinic * 2**32 + np.where(gauge == UNDECLARED, -1 - cell, gauge)
    group = np.unique(key, return_inverse=True)[1]
    units, code = np.unique(unit[order], return_inverse=True)
    asked = np.flatnonzero(np.isin(units, list(fixed))) if fixed else np.zeros(0, np.intp)
    builds = None if build is None else np.asarray(build, np.intp)
    return _Arranged(order, design_of(cell, code, group, builds), asked if asked.size else None)


def _tables(of: _Arranged, several: Sequence[Cells]) -> Tables:
    blocks = [block for cells in several for of_cell in cells for block in of_cell]
    # Put together at once: for the few rows of a block it is the number of calls that costs.
    values: dict[str, Any] = {
        name: np.asarray(together(blocks, name), float).reshape(len(several), -1).take(of.order, axis=1)
        for name in _VALUES
    }
    runs: Floats = values["runs"]
    total = runs.sum(axis=1)
    return Tables(
        of.design,
        mean=values["mean"],
        runs=runs,
        systematic=values["systematic"],
        random=((values["random"] ** 2 * runs).sum(axis=1) / total) ** 0.5,
        squares=values["squares"].sum(axis=1),
        freedom=np.floor(total) - runs.shape[1],
        fixed=of.fixed,
    )

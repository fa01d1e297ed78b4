"""What each clinic does to a centre."""

from dataclasses import dataclass

import numpy as np

from registry.statistics.nested import Cells
from registry.statistics.robust import Floats


@dataclass(frozen=True)
class Influence:
    """One clinic's hold on the centre. `clinic` is its code in the table.

    `apart` is how far its units read, one mean a unit, from the centre, before anything is reined in;
    `weight` its share of the centre, from 0 to 1; `shift` how far the centre would move if its readings were
    left out, None for the only clinic.
    """

    clinic: int
    units: int
    runs: int
    apart: float
    weight: float
    shift: float | None


def influences(cells: Cells, tamed: Cells, weights: Floats, centre: float) -> tuple[Influence, ...]:
    """Leave out one clinic after the other; one entry a clinic, by code.

    `tamed` is the table as it was weighed, with `weights` that add up to one and gave `centre`. The others
    keep their weights relative to each other, which is what least squares gives them too where every unit
    stays at one clinic.
    """
    units = np.bincount(cells.clinic)
    runs = np.bincount(cells.clinic, cells.runs)
    apart = np.bincount(cells.clinic, cells.mean) / units - centre
    weight = np.bincount(cells.clinic, weights)
    pull = np.bincount(cells.clinic, weights * (tamed.mean - centre))
    rest = 1.0 - weight
    return tuple(
        Influence(
            clinic=clinic,
            units=int(units[clinic]),
            runs=int(runs[clinic]),
            apart=float(apart[clinic]),
            weight=float(weight[clinic]),
            shift=float(-pull[clinic] / rest[clinic]) if rest[clinic] > 1e-9 else None,
        )
        for clinic in range(units.size)
    )

"""Boil readings at many settings down to one figure a unit and gauge."""

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from registry.statistics.robust import middles

_ROUNDS = 200
_STILL = 1e-7

# What a table of readings holds: `cell` is one build at one setting of everything, metric included; `log` the
# logarithm of a unit's mean there; `systematic` the gauge's relative uncertainty.
READINGS = ("cell", "build", "gauge", "clinic", "unit", "log", "systematic")


def pair_table(readings: pd.DataFrame, *, by_level: bool = False) -> pd.DataFrame:
    """Return one row a unit and gauge: build, gauge, clinic, unit, apart, settings, systematic.

    `apart` is how far the pair reads from its build, as a logarithm, by least squares over pairs and cells
    together: pairs that were measured at other settings than their fellows are not held against them for it.
    It is counted from the build's median pair. `by_level` weighs cells by the square of what they read: where
    units differ by as much at all settings, as in mmHg, the higher ones tell the more of a scale.
    """
    unit, gauge = readings["unit"].to_numpy(np.int64), readings["gauge"].to_numpy(np.int64)
    gauge_code = np.unique(gauge, return_inverse=True)[1]
    unit_code = np.unique(unit, return_inverse=True)[1]
    _, first, pair = np.unique(
        unit_code * (int(gauge_code.max(initial=0)) + 1) + gauge_code, return_index=True, return_inverse=True
    )
    cell = pd.factorize(readings["cell"])[0]
    build = readings["build"].to_numpy()[first]
    logs = readings["log"].to_numpy(float)
    weight = np.exp(2 * (np.bincount(cell, logs) / np.bincount(cell)))[cell] if by_level else None
    apart = two_way(logs, pair, cell, weight)
    in_build = np.unique(build, return_inverse=True)[1]
    return pd.DataFrame(
        {
            "unit": unit[first],
            "gauge": gauge[first],
            "build": build,
            "clinic": readings["clinic"].to_numpy()[first],
            "settings": _settings(pair, cell),
            "systematic": np.bincount(pair, readings["systematic"]) / np.bincount(pair),
            "apart": apart - middles(apart, in_build)[in_build],
        }
    )


def _settings(pair: NDArray[np.intp], cell: NDArray[np.intp]) -> NDArray[np.intp]:
    """At how many cells each pair was read."""
    seen = np.unique(pair * (int(cell.max(initial=0)) + 1) + cell)
    return np.bincount(seen // (int(cell.max(initial=0)) + 1))


def two_way(
    values: np.ndarray, pair: np.ndarray, cell: np.ndarray, weight: np.ndarray | None = None
) -> np.ndarray:
    """Pair effects of the model value = pair + cell, by taking means in turn until they stand still.

    `weight` is that of each value, all alike unless given.
    """
    weight = np.ones(values.size) if weight is None else weight
    in_pair, in_cell = np.bincount(pair, weight), np.bincount(cell, weight)
    weighted, effect = weight * values, np.zeros(in_pair.size)
    own, shared = np.bincount(pair, weighted) / in_pair, np.bincount(cell, weighted) / in_cell
    for _ in range(_ROUNDS):
        of_cell = shared - np.bincount(cell, weight * effect[pair]) / in_cell
        before, effect = effect, own - np.bincount(pair, weight * of_cell[cell]) / in_pair
        if np.abs(effect - before).max() < _STILL:
            break
    return effect

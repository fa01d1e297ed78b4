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


def pair_table(readings: pd.DataFrame) -> pd.DataFrame:
    """Return one row a unit and gauge: build, gauge, clinic, unit, apart, settings, systematic.

    `apart` is how far the pair reads from its build, as a logarithm, by least squares over pairs and cells
    together: pairs that were measured at other settings than their fellows are not held against them for it.
    It is counted from the build's median pair.
    """
    unit, gauge = readings["unit"].to_numpy(np.int64), readings["gauge"].to_numpy(np.int64)
    gauge_code = np.unique(gauge, return_inverse=True)[1]
    unit_code = np.unique(unit, return_inverse=True)[1]
    _, first, pair = np.unique(
        unit_code * (int(gauge_code.max(initial=0)) + 1) + gauge_code, return_index=True, return_inverse=True
    )
    cell = pd.factorize(readings["cell"])[0]
    build = readings["build"].to_numpy()[first]
    apart = two_way(readings["log"].to_numpy(float), pair, cell)
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


def two_way(values: np.ndarray, pair: np.ndarray, cell: np.ndarray) -> np.ndarray:
    """Pair effects of the model value = pair + cell, by taking means in turn until they stand still."""
    in_pair, in_cell = np.bincount(pair), np.bincount(cell)
    effect = np.zeros(in_pair.size)
    for _ in range(_ROUNDS):
        of_cell = np.bincount(cell, values - effect[pair]) / in_cell
        before, effect = effect, np.bincount(pair, values - of_cell[cell]) / in_pair
        if np.abs(effect - before).max() < _STILL:
            break
    return effect

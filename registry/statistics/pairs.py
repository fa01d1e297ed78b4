"""Boil readings at many settings down to one figure a unit and gauge."""

import numpy as np
import pandas as pd

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
    pair = readings.groupby(["unit", "gauge"], sort=False, observed=True).ngroup().to_numpy()
    cell = pd.factorize(readings["cell"])[0]
    log = readings["log"].to_numpy(float)
    table = readings.groupby(["unit", "gauge"], sort=False, observed=True, as_index=False).agg(
        build=("build", "first"),
        clinic=("clinic", "first"),
        settings=("cell", "nunique"),
        systematic=("systematic", "mean"),
    )
    table["apart"] = two_way(log, pair, cell)
    table["apart"] -= table.groupby("build")["apart"].transform("median")
    return table


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

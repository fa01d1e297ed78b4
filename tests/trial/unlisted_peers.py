"""Two plain ways to look for a change, beside which ours is tried: three sigma, and PELT."""

import numpy as np
import pandas as pd
import ruptures

from registry.statistics.pairs import two_way
from tests.trial.unlisted_communities import PEAK, RATE

_WARM_UP = 6
_SIGMAS = 3.0


def by_unit(table: pd.DataFrame) -> np.ndarray:
    """One row a unit in order, a column a metric: how far it reads from its fellows at the same settings."""
    columns = []
    for metric in (RATE, PEAK):
        rows = table[table["metric"] == metric]
        unit = np.unique(rows["unit"].to_numpy(np.intp), return_inverse=True)[1]
        setting = pd.factorize(rows["cell"])[0]
        columns.append(two_way(np.log(rows["mean"].to_numpy(float)), unit, setting))
    return np.column_stack(columns)


def three_sigma(table: pd.DataFrame) -> int | None:
    """The first unit beyond 3 standard deviations of all before it in either metric, from the seventh on."""
    values = by_unit(table)
    for unit in range(_WARM_UP, len(values)):
        before = values[:unit]
        if (np.abs(values[unit] - before.mean(axis=0)) > _SIGMAS * before.std(axis=0, ddof=1)).any():
            return unit
    return None


def pelt(table: pd.DataFrame) -> int | None:
    """The first change by PELT: least squares, at every unit, penalty (metrics + 1) log n.

    Columns are in units of their noise, the scaled median of absolute first differences. The penalty is
    that of the Bayesian information criterion: a step costs a mean a metric, and its place.
    """
    values = by_unit(table)
    if len(values) < 4:
        return None
    noise = np.median(np.abs(np.diff(values, axis=0)), axis=0) * 1.4826 / 2**0.5
    scaled = values / np.maximum(noise, 1e-12)
    penalty = (scaled.shape[1] + 1) * np.log(len(scaled))
    found = ruptures.Pelt(model="l2", jump=1, min_size=2).fit(scaled).predict(pen=penalty)
    return found[0] if len(found) > 1 else None

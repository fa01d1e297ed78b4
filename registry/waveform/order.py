"""Small tools on arrays: medians without the general functions' checks, and a sum of products."""

from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from .types import Floats


def median(values: Floats) -> float:
    """Median of finite values; NaN of none."""
    count = values.size
    if count == 0:
        return float("nan")
    ordered = np.sort(values)
    return 0.5 * float(ordered[(count - 1) // 2] + ordered[count // 2])


def running_median(values: Floats, width: int) -> Floats:
    """Median over `width` (odd) neighbours, mirrored at the ends; of all where there are no more."""
    half = width // 2
    if values.size <= width:
        return np.full(values.size, median(values))
    padded = np.concatenate([values[half:0:-1], values, values[-2 : -half - 2 : -1]])
    windows = np.sort(sliding_window_view(padded, width), axis=1)
    return np.asarray(windows[:, half])


def dot(one: NDArray[Any], two: NDArray[Any]) -> float:
    """Sum of products, in this thread: a linear algebra library's threads cost more than a trace's sum."""
    return float(np.einsum("i,i->", one, two))

"""Small tools on arrays: medians, and a sum of products, without the general functions' checks."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import kernels
from .types import Floats


def median(values: Floats) -> float:
    """Median of finite values; NaN of none."""
    return kernels.order.median(np.ascontiguousarray(values))


def running_median(values: Floats, width: int) -> Floats:
    """Median over `width` (odd) neighbours, mirrored at the ends; of all where there are no more."""
    return kernels.order.running_median(np.ascontiguousarray(values), width)


def dot(one: NDArray[Any], two: NDArray[Any]) -> float:
    """Sum of products, in this thread: a linear algebra library's threads cost more than a trace's sum."""
    return float(np.einsum("i,i->", one, two))

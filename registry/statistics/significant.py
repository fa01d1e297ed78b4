"""Many numbers to a few significant digits, as writing them down and reading them again would give."""

import numpy as np

from registry.statistics.robust import Floats

DIGITS = 6
# Powers of ten that a double holds exactly; within, one multiplication or division rounds once.
_POWERS = 10.0 ** np.arange(23)
_LEAST, _MOST = 1e-15, 1e20
# So near a half, which way it goes is told by all digits of the number.
_DOUBTFUL = 1e-6


def significant(values: Floats) -> Floats:
    """Return the very numbers that `float(f"{value:.6g}")` gives; what is not finite stays as it is."""
    size = np.abs(values)
    usual = (size > _LEAST) & (size < _MOST)
    power = DIGITS - 1 - np.floor(np.log10(np.where(usual, size, 1.0))).astype(np.intp)
    up, down = _POWERS[np.maximum(power, 0)], _POWERS[np.maximum(-power, 0)]
    with np.errstate(invalid="ignore"):
        scaled = np.where(usual, values, 1.0) * up / down
        whole = np.rint(scaled)
        near_half = np.abs(np.abs(scaled - whole) - 0.5) < _DOUBTFUL
    found: Floats = np.where(usual, whole / up * down, values)
    for at in zip(*np.nonzero(np.isfinite(values) & (near_half | ~usual) & (values != 0)), strict=True):
        found[at] = float(f"{values[at]:.{DIGITS}g}")
    return found

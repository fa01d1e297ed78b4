"""Standard uncertainties by the GUM (JCGM 100:2008): limits, propagation, scatter of cycles.

Parts that a whole gauge shares (accuracy, resolution, calibration, zero, clock) are systematic; what the next
run draws anew (noise, scatter of cycles) is random. They are kept apart so that averaging runs does not
average away what all of them share.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from .order import dot
from .types import Floats, GaugeSpec

# A logger's quartz clock keeps time to 100 parts in a million: common practice, no published source.
CLOCK_LIMIT = 1e-4
# An undeclared gauge: within 5 mmHg and 2 % of the reading. Common practice, no published source.
UNDECLARED = GaugeSpec(-np.inf, np.inf, 0.0, accuracy_mmhg=5.0, accuracy_fraction=0.02)
# A gauge nobody zeroed reads within 3 mmHg of zero at open air. Common practice, no published source.
UNKNOWN_ZERO_LIMIT = 3.0
# How well the variance of reading noise is known, relative: by replay on traces of known truth.
NOISE_UNSURE = 0.5


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a quantity known only to lie within +-half_width (JCGM 100, 4.3.7)."""
    return half_width / sqrt(3.0)


def propagate(
    function: Callable[[Floats], Floats], inputs: Floats, covariance: Floats, relative_step: float = 1e-6
) -> tuple[Floats, Floats]:
    """(outputs, covariance of outputs) of a function of correlated inputs, to first order (JCGM 100, 5.2.2).

    Sensitivities are central differences with steps of `relative_step` standard uncertainties' scale.
    """
    values = np.asarray(function(inputs), dtype=float)
    steps = np.maximum(np.abs(inputs), np.sqrt(np.diag(covariance))) * relative_step
    columns = []
    for index, step in enumerate(steps):
        shift = np.zeros(inputs.size)
        shift[index] = step or relative_step
        columns.append((function(inputs + shift) - function(inputs - shift)) / (2 * shift[index]))
    sensitivity = np.stack(columns, axis=-1)
    return values, np.asarray(sensitivity @ covariance @ sensitivity.T)


@dataclass(frozen=True)
class GaugeParts:
    """Systematic standard uncertainty of levels read on one gauge."""

    gauge: GaugeSpec
    resolution: float
    zero: float

    def own(self, level: float) -> float:
        """Of one level, without what all levels share: accuracy limit (off-set and slope) and resolution."""
        limit = self.gauge.accuracy_mmhg + self.gauge.accuracy_fraction * abs(level)
        return hypot(rectangular(limit), rectangular(self.resolution / 2))

    def level(self, level: float) -> float:
        """Of one level: accuracy, resolution, calibration and zero."""
        return hypot(self.own(level), self.gauge.calibration_u_mmhg, self.zero)

    def difference(self, high: float, low: float) -> float:
        """Of a difference of two levels: zero and the offset of the calibration cancel, accuracy does not."""
        return hypot(self.own(high), self.own(low))

    def gain(self, high: float, low: float) -> float:
        """Relative, of anything proportional to the swing."""
        return self.difference(high, low) / max(high - low, 1e-12)


@dataclass(frozen=True)
class Scatter:
    """Mean of a repeated quantity, its true spread freed of reading noise, and uncertainties of both."""

    mean: float
    spread: float
    u_mean: float
    u_spread: float


def scatter(values: Floats, noise: float) -> Scatter:
    """Spread of independent values, each read with standard error `noise` (JCGM 100, 4.2).

    The mean's standard error is that of the t distribution, larger for few values (JCGM 101, 6.4.9.3).
    """
    count = values.size
    mean = float(values.mean()) if count else np.nan
    if count < 2:
        return Scatter(mean, 0.0, np.inf, np.inf)
    variance = float(values.var(ddof=1))
    return Scatter(
        mean,
        _spread(variance, noise**2),
        sqrt(variance / count * few(count)),
        _u_spread(variance, noise**2, count),
    )


def few(count: int) -> float:
    """(n - 1) / (n - 3): what few values add to the variance of their mean (JCGM 101, 6.4.9.3)."""
    return (count - 1.0) / (count - 3.0) if count > 4 else 3.0


def _spread(variance: float, noise: float) -> float:
    return sqrt(max(variance - noise, 0.0))


def _u_spread(variance: float, noise: float, count: int) -> float:
    """Half of what the spread moves when the variance moves by its own standard error either way."""
    off = hypot(variance * sqrt(3.0 / (count - 1)), NOISE_UNSURE * noise)
    return 0.5 * (_spread(variance + off, noise) - _spread(variance - off, noise))


def lag_one(values: Floats) -> float:
    """Correlation of neighbouring values, 0 where it is no more than chance would make or values are few."""
    if values.size < 8:
        return 0.0
    centred = values - values.mean()
    square = dot(centred, centred)
    found = dot(centred[1:], centred[:-1]) / square if square > 0 else 0.0
    return found if abs(found) > 1.6 / sqrt(values.size) else 0.0

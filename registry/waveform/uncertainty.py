"""Standard uncertainties by the GUM (JCGM 100:2008): limits, propagation, scatter of cycles.

Parts that a whole gauge shares (accuracy, resolution, calibration, zero, clock) are systematic; what the next
run draws anew (noise, scatter of cycles) is random. They are kept apart so that averaging runs does not
average away what all of them share.
"""

from dataclasses import dataclass
from functools import cached_property
from math import hypot, sqrt

import numpy as np

from . import kernels
from .order import dot
from .types import Floats, GaugeSpec

Parts = dict[str, float]  # standard uncertainties by part, as in `types.Quantity`

# A quartz clock at room temperature keeps time to 20 in a million. Common practice, no published source.
CLOCK_LIMIT = 2e-5
# An undeclared gauge: within 5 mmHg and 2 % of the reading. Common practice, no published source.
UNDECLARED = GaugeSpec(-np.inf, np.inf, 0.0, accuracy_mmhg=5.0, accuracy_fraction=0.02)
# A gauge nobody zeroed reads within 3 mmHg of zero at open air. Common practice, no published source.
UNKNOWN_ZERO_LIMIT = 3.0
# How well the variance of reading noise is known, relative: by replay on traces of known truth.
NOISE_UNSURE = 0.5
ORDERS = np.arange(1.0, 33.0)


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a quantity known only to lie within +-half_width (JCGM 100, 4.3.7)."""
    return half_width / sqrt(3.0)


@dataclass(frozen=True)
class GaugeParts:
    """Systematic standard uncertainties of levels read on one gauge, by part.

    `resolution` is the step of the readings, `zero` the standard uncertainty of the zero, and `noise` the
    standard deviation of single readings, rounding included.
    """

    gauge: GaugeSpec
    resolution: float
    zero: float
    noise: float = 0.0

    @cached_property
    def rounded(self) -> float:
        """Of a level read many times, from rounding to the resolution."""
        return rounding(self.resolution, sqrt(max(self.noise**2 - self.resolution**2 / 12, 0.0)))

    def accuracy(self, level: float) -> float:
        """Of one level, from the accuracy limit there (offset and slope)."""
        return rectangular(self.gauge.accuracy_mmhg + self.gauge.accuracy_fraction * abs(level))

    def level(self, level: float) -> Parts:
        """Of one level, mmHg."""
        return {
            "accuracy": self.accuracy(level),
            "resolution": self.rounded,
            "calibration": self.gauge.calibration_u_mmhg,
            "zero": self.zero,
        }

    def difference(self, high: float, low: float) -> Parts:
        """Of a difference of two levels, mmHg: zero and calibration offset cancel, accuracy does not."""
        return {
            "accuracy": hypot(self.accuracy(high), self.accuracy(low)),
            "resolution": sqrt(2.0) * self.rounded,
        }

    def gain(self, high: float, low: float) -> Parts:
        """Relative, of anything proportional to the swing."""
        swing = max(high - low, 1e-12)
        return {name: u / swing for name, u in self.difference(high, low).items()}


def rounding(step: float, noise: float) -> float:
    """Standard uncertainty of a mean of many readings rounded to `step`, each with Gaussian `noise` before.

    step / sqrt(12) without noise. Noise spreads the readings over several steps, and their mean loses the
    rounding: each term of the Fourier series of the rounding error (a sawtooth) averages down by itself.
    """
    if step <= 0 or noise <= 0:
        return max(step, 0.0) / sqrt(12.0)
    terms = np.exp(-2 * (np.pi * ORDERS * noise / step) ** 2) / (np.pi * ORDERS)
    return step * sqrt(dot(terms, terms) / 2)


@dataclass(frozen=True)
class Scatter:
    """Mean of a repeated quantity and its true spread, freed of reading noise; uncertainties of both by part.

    `u_mean` is the mean's for its scatter alone, without reading noise.
    """

    mean: float
    spread: float
    u_mean: float
    u_spread: Parts


def scatter(values: Floats, noise: float) -> Scatter:
    """Spread of independent values, each read with standard error `noise` (JCGM 100, 4.2).

    The mean's standard error is that of the t distribution, larger for few values (JCGM 101, 6.4.9.3).
    """
    count = values.size
    mean, square = kernels.order.moments(np.ascontiguousarray(values, dtype=np.float64))
    if count < 2:
        return Scatter(mean, 0.0, np.inf, {"scatter": np.inf})
    variance = square / (count - 1)
    spread = _spread(variance, noise**2)
    return Scatter(mean, spread, spread * sqrt(few(count) / count), _u_spread(variance, noise**2, count))


def few(count: int) -> float:
    """(n - 1) / (n - 3): what few values add to the variance of their mean (JCGM 101, 6.4.9.3)."""
    return (count - 1.0) / (count - 3.0) if count > 4 else 3.0


def _spread(variance: float, noise: float) -> float:
    return sqrt(max(variance - noise, 0.0))


def _u_spread(variance: float, noise: float, count: int) -> Parts:
    """Half of what the spread moves when the variance moves by its own standard error either way, by part."""
    drawn, read = variance * sqrt(3.0 / (count - 1)), NOISE_UNSURE * noise
    off = hypot(drawn, read)
    half = 0.5 * (_spread(variance + off, noise) - _spread(variance - off, noise))
    share = half / off if off > 0 else 0.0
    return {"scatter": drawn * share, "sampling": read * share}


def lag_one(values: Floats) -> float:
    """Correlation of neighbouring values, 0 where it is no more than chance would make or values are few."""
    if values.size < 8:
        return 0.0
    found = kernels.order.lag_one(np.ascontiguousarray(values))
    return found if abs(found) > 1.6 / sqrt(values.size) else 0.0
